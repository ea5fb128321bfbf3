"""Twins for the api's tests: a writing action and exam operations without rules, over the real store."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from service.actions.looking import Look, by_id
from service.actions.ports import Books, Caller, House, Work
from service.actions.writing import write
from service.basics.entries import Entry, Result
from service.basics.errors import Conflict, Fault, NotAllowed, Refusal, RuleBroken
from service.basics.ids import new_id
from service.basics.stored import Keys, Record, Stored
from service.fhir import exact

Json = dict[str, Any]


@dataclass
class TwinTransact:
    """Writes entries one by one in one transaction; raises what it is told to, once each, before anything else."""

    raises: list[BaseException] = field(default_factory=list)
    calls: list[Entry] = field(default_factory=list)

    def __call__(
        self, house: House, caller: Caller, entries: Sequence[Entry], *, bundle_type: str, look: Look = by_id
    ) -> Sequence[Result]:
        if self.raises:
            raise self.raises.pop(0)
        self.calls += entries
        if bundle_type == "batch":
            return [self._alone(house, caller, one) for one in entries]
        with house.books.begin(caller.organization) as work:
            return [look(work, entry) if entry.reads else _one(work, entry) for entry in entries]

    def _alone(self, house: House, caller: Caller, entry: Entry) -> Result:
        try:
            with house.books.begin(caller.organization) as work:
                return _one(work, entry)
        except Refusal as refusal:
            return Result(0, refusal=refusal.inside(entry.place))


def _one(work: Work, entry: Entry) -> Result:
    if entry.method == "POST":
        resource = {**(entry.resource or {}), "id": new_id()}
        return Result(201, write(work, [resource])[0])
    before = work.get(entry.type, entry.id)
    if before is None:
        raise NotAllowed(Fault("not-supported", "Ids are the server's: POST it."))
    return Result(200, write(work, [], [(dict(entry.resource or {}), before)])[0])


def erase(books: Books, organization: str, type_: str, *, id_: str) -> None:
    """Delete a resource behind the face's back: the face doesn't offer it, but a store may hold deletions."""
    with books.begin(organization) as work:
        before = work.get(type_, id_)
        assert before is not None
        now = exact.instant(work.now)
        gone = Stored(type_, id_, before.version + 1, now, b"", deleted=True, method="DELETE")
        nothing = Keys(frozenset(), frozenset())
        work.put([Record(gone, nothing, before, nothing)])


def finish(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Refuses with two faults until a conclusion is given; then answers a report."""
    if not parameters.get("parameter"):
        raise RuleBroken(
            Fault("required", "The long plane of the spleen is owed.", "Task"),
            Fault("required", "A still of the liver is owed.", "Task"),
        )
    return {"resourceType": "Task", "id": task_id, "meta": {"versionId": "7"}, "status": "completed", "intent": "order"}


def amend(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Always in the way of something."""
    raise Conflict(Fault("conflict", "This exam is not finished: there is no report to amend yet."))


def broken(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """A fault of the program, with a secret in its words."""
    raise ZeroDivisionError("the secret is 1234")


class NoCatalogues:
    """Nothing here asks for a catalogue."""

    @property
    def current(self) -> Any:
        raise AssertionError("nobody asks for a catalogue here")

    def of(self, hash_: str) -> Any:
        raise AssertionError("nobody asks for a catalogue here")
