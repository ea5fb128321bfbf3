"""All that a request wants written, in one transaction: checked, identified, linked, understood, stored."""

from collections.abc import Iterable, Sequence
from copy import deepcopy
from dataclasses import replace
from random import random
from time import sleep
from typing import Any

from service.actions import (
    admission,
    authorised,
    deletion,
    guards,
    identities,
    overtaken,
    patches,
    receive_referral,
    references,
    repeats,
    subscribe,
)
from service.actions.checking import checked
from service.actions.looking import Look, by_id
from service.actions.pending import Pending
from service.actions.ports import Caller, House, Work
from service.actions.tracing import line
from service.actions.writing import write
from service.basics.entries import Entry, Result
from service.basics.errors import Busy, Fault, Refusal
from service.basics.stored import Stored
from service.fhir import uris

Json = dict[str, Any]
Versions = dict[tuple[str, str], Stored]
TRIES = 4
_PAUSE = 0.03  # seconds; grows with each try


def transact(
    house: House,
    caller: Caller,
    entries: Sequence[Entry],
    *,
    bundle_type: str = "transaction",
    look: Look = by_id,
    once: str = "",
) -> list[Result]:
    """Apply the entries: all or nothing as a transaction, each on its own as a batch.

    Deletions come first, then all other writes at once, then `look` answers each read from what they leave. Raises the
    Refusal that names all faults; a batch keeps each entry's refusal in its result. once: a key under which the same
    is never done again: then there are no results."""
    if bundle_type == "batch":
        return [_alone(house, caller, entry) for entry in entries]
    return _whole(house, caller, entries, look=look, once=once)


def _whole(house: House, caller: Caller, entries: Sequence[Entry], *, look: Look, once: str = "") -> list[Result]:
    ours = checked(((e, e.resource) for e in entries), practice=caller.kind != "records")
    print_ = repeats.of_entries(entries)
    with house.books.begin(caller.organization) as work:
        if once and work.receipt(once):
            return []
        waiting = identities.pending(entries)
        if caller.kind != "records":
            again = repeats.earlier(work, waiting, print_)
            if again is not None:
                return _told(work, caller, entries, again, look=look)
        results = _apply(house, work, caller, waiting, ours=ours)
        if caller.kind != "records":
            repeats.remember(work, waiting, print_, results)
        if once:
            work.save_receipt(once, "", b"")
        return _told(work, caller, entries, results, look=look)


def _told(
    work: Work, caller: Caller, entries: Sequence[Entry], written: Sequence[Result], *, look: Look
) -> list[Result]:
    """The results in the order of the entries, reads among them, with their line in the audit."""
    done = iter(written)
    results = [None if e.reads else next(done) for e in entries]
    seen = [_seen(work, e, look) if r is None else r for e, r in zip(entries, results, strict=True)]
    work.trace(line(work, caller, entries, seen))
    return seen


def _seen(work: Work, entry: Entry, look: Look) -> Result:
    try:
        return look(work, entry)
    except Refusal as refusal:
        raise (refusal.inside(entry.place) if entry.place else refusal) from None


def _alone(house: House, caller: Caller, entry: Entry) -> Result:
    """One entry of a batch, done again a few times while the store is busy."""
    for tried in range(1, TRIES + 1):
        try:
            return _whole(house, caller, [replace(entry, resource=deepcopy(entry.resource), alone=True)], look=by_id)[0]
        except Refusal as refusal:
            busy = isinstance(refusal, Busy) and refusal.retry_after is not None
            if not busy or tried == TRIES:
                return Result(0, refusal=refusal)
        sleep(_PAUSE * 2**tried * (0.5 + random()))
    raise AssertionError("a loop that always returns")


def _apply(house: House, work: Work, caller: Caller, waiting: list[Pending], *, ours: Sequence[Fault]) -> list[Result]:
    practice = caller.kind != "records"
    identities.resolve(house, work, waiting)
    ours = [*ours, *patches.apply(waiting, practice=practice)]
    references.rewrite(house, work, waiting)
    caller = receive_referral.recognised(work, caller, waiting)
    receive_referral.localize(caller, waiting)
    for one in waiting:
        if one.resource is not None and one.writes:
            one.resource["id"] = one.id
    derived: list[Json] = []
    if practice:
        for one in waiting:
            if one.writes:
                kinds = house.catalogues.current.unique_identifiers
                with _Placed(one):
                    identities.unique(work, one, kinds, uris.IDENTIFIER_TYPE)
        guards.check(house, work, waiting)
        if not caller.agreement:  # else it was looked at where it was written, by the charges there
            authorised.check(house, work, waiting, ours=ours)
        subscribe.admit(house, work, caller, waiting)
        derived = admission.admit(house, work, caller, waiting, ours=ours)
    with overtaken.answered(waiting):
        gone = deletion.delete(work, waiting)
        results = _stored(work, waiting, derived, gone)
    deletion.unreferenced(house, work, waiting)
    return results


class _Placed:
    """Refusals from inside are seen from the entry's place in its Bundle."""

    def __init__(self, one: Pending) -> None:
        self.place = f"{one.entry.place}.resource" if one.entry.place else ""

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, refusal: object, trace: object) -> None:
        if self.place and isinstance(refusal, Refusal):
            raise refusal.inside(self.place) from None


def _stored(work: Work, waiting: Sequence[Pending], derived: Iterable[Json], gone: Versions) -> list[Result]:
    new = [p.resource for p in waiting if p.writes and p.before is None and p.resource is not None]
    extra = list(derived)
    before = work.get_many((r["resourceType"], r["id"]) for r in extra)
    made = [r for r in extra if (r["resourceType"], r["id"]) not in before]
    moved = [(r, before[r["resourceType"], r["id"]]) for r in extra if (r["resourceType"], r["id"]) in before]
    written = write(work, new + made, _changed(waiting, "PUT") + moved)
    if patched := _changed(waiting, "PATCH"):
        written += write(work, [], patched, method="PATCH")
    stored = {(s.type, s.id): s for s in written} | gone
    return [_result(p, stored) for p in waiting]


def _changed(waiting: Sequence[Pending], method: str) -> list[tuple[Json, Stored]]:
    ones = (p for p in waiting if p.writes and p.entry.method == method)
    return [(p.resource, p.before) for p in ones if p.before is not None and p.resource is not None]


def _result(one: Pending, stored: Versions) -> Result:
    if one.found is not None:
        return Result(200, one.found)
    if one.entry.method == "DELETE":
        return Result(204, stored.get((one.entry.type, one.id)))
    return Result(200 if one.before else 201, stored[one.entry.type, one.id])
