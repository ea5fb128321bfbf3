"""Records, turned into the rows and the differences of search keys that they come down to."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from service.basics.errors import Conflict, Fault
from service.basics.stored import Keys, Record
from service.store.instants import micros_of
from service.store.session import Session

_FIND = "SELECT row, version FROM resource WHERE organization = ? AND type = ? AND id = ?"
FORMER_COLUMNS = "row, organization, type, id, version, updated, updated_us, deleted, method, body"
CURRENT_COLUMNS = f"{FORMER_COLUMNS}, present"

_NONE = Keys(marks=frozenset(), texts=frozenset())


@dataclass(slots=True)
class MarkChanges:
    """Marks to delete and to add, each with its row; `unknown` rows lose whatever they have."""

    gone: list[tuple[int, int, int, int]] = field(default_factory=list)
    come: list[tuple[int, int, int, int]] = field(default_factory=list)
    texts_gone: list[tuple[int, str, int]] = field(default_factory=list)
    texts_come: list[tuple[int, str, int]] = field(default_factory=list)
    unknown: list[int] = field(default_factory=list)


def version_row(organization: str, record: Record) -> tuple[object, ...]:
    """The values of CURRENT_COLUMNS after the row number."""
    v, present = record.new, record.keys.present
    body = b"" if v.deleted else v.body
    return (organization, v.type, v.id, v.version, v.updated, micros_of(v.updated), v.deleted, v.method, body, present)


def mark_changes(records: Iterable[tuple[int, Record]]) -> MarkChanges:
    """What the search keys of (row, record) pairs come down to; a deleted resource has none."""
    changes = MarkChanges()
    for row, record in records:
        new = _NONE if record.new.deleted else record.keys
        old = record.old or _NONE
        if record.before is not None and record.old is None:
            changes.unknown.append(row)
        if new is old:
            continue
        changes.gone += [(*m, row) for m in old.marks - new.marks]
        changes.come += [(*m, row) for m in new.marks - old.marks]
        changes.texts_gone += [(*t, row) for t in old.texts - new.texts]
        changes.texts_come += [(*t, row) for t in new.texts - old.texts]
    return changes


def place(session: Session, organization: str, record: Record) -> int:
    """The row of the version that a record replaces; Conflict when the stored one is another."""
    before = record.before
    if before is not None and before.row:
        return before.row
    found = session.one(_FIND, organization, record.new.type, record.new.id)
    if before is None or found is None or found[1] != before.version:
        raise changed_meanwhile(record)
    row: int = found[0]
    return row


def changed_meanwhile(record: Record) -> Conflict:
    """The version that was to be replaced is not the stored one."""
    name = f"{record.new.type}/{record.new.id}"
    text = f"{name} was changed meanwhile; read it again and repeat the change on that."
    refusal = Conflict(Fault("conflict", text))
    refusal.overtaken = name
    return refusal


def rounds(records: Sequence[Record]) -> Iterator[list[Record]]:
    """The records in order, cut so that no round holds two versions of one resource; Conflict for a leap."""
    part: list[Record] = []
    seen: set[tuple[str, str]] = set()
    for record in records:
        expected = record.before.version + 1 if record.before else 1
        if record.new.version != expected:
            raise changed_meanwhile(record)
        key = (record.new.type, record.new.id)
        if key in seen:
            yield part
            part, seen = [], set()
        part.append(record)
        seen.add(key)
    if part:
        yield part
