"""What may be deleted, and only while nothing refers to it: the types of a directory."""

from collections.abc import Iterator, Sequence

from service.actions.conditions import at_most_one
from service.actions.pending import Pending
from service.actions.ports import House, View, Work
from service.actions.writing import decoded
from service.basics.errors import Conflict, Fault, NotAllowed, Stale
from service.basics.query import Exact, Query
from service.basics.stored import Keys, Record, Stored
from service.fhir import exact, search
from service.fhir.search import referrers
from service.fhir.types import DIRECTORY

_TOLD = 10  # referrers that are named
_NOTHING = Keys(frozenset(), frozenset())


def find(house: House, work: Work, one: Pending) -> None:
    """Look up what an entry deletes; what is not there or deleted already needs nothing.

    Raises NotAllowed for a type that is never deleted, Stale when If-Match or the criteria say another one."""
    entry = one.entry
    if entry.type not in DIRECTORY:
        text = f"{entry.type} is never deleted here; set its status to entered-in-error or active to false instead."
        raise NotAllowed(Fault("not-supported", text, one.where))
    current = work.get(entry.type, entry.id) if entry.id else at_most_one(house, work, entry, where=one.where)
    if current is None or current.deleted:
        return
    if entry.if_match is not None and entry.if_match != current.version:
        text = f"{entry.type}/{current.id} is at version {current.version}, not {entry.if_match}: read it again."
        raise Stale(Fault("conflict", text, one.where))
    one.id, one.before = current.id, current


def delete(work: Work, waiting: Sequence[Pending]) -> dict[tuple[str, str], Stored]:
    """Store the deletions of the entries that delete, with their identities free for others."""
    records = [_record(work, one.before) for one in waiting if one.deletes and one.before is not None]
    if records:
        work.put(records)
    for record in records:
        work.drop_claims(record.new.type, record.new.id)
    return {(r.new.type, r.new.id): r.new for r in records}


def unreferenced(house: House, work: View, waiting: Sequence[Pending]) -> None:
    """Raise Conflict, naming referrers, while anything that stands at the end of this transaction refers to what it
    deletes."""
    faults = [fault for one in waiting if one.deletes for fault in _referred(house, work, one)]
    if faults:
        raise Conflict(*faults)


def _referred(house: House, work: View, one: Pending) -> Iterator[Fault]:
    found: list[str] = []
    for type_, keys in referrers.keys(work.organization, one.entry.type, one.id, base=house.base):
        query = Query(type=type_, criteria=(Exact(keys),), count=_TOLD, total="none")
        found += [f"{m.type}/{m.id}" for m in work.search(query).matches]
    found = [name for name in found if name != one.reference]
    if found:
        more = f" and {len(found) - _TOLD} more" if len(found) > _TOLD else ""
        text = f"{one.reference} is referred to by {', '.join(found[:_TOLD])}{more}; it stays while it is."
        yield Fault("conflict", text, one.where)


def _record(work: Work, before: Stored) -> Record:
    new = Stored(
        before.type, before.id, before.version + 1, exact.instant(work.now), b"", deleted=True, method="DELETE"
    )
    return Record(new, _NOTHING, before, search.keys(work.organization, decoded(before)))
