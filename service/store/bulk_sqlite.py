"""Records, turned into rows by the fewest calls that SQLite's driver can make."""

from collections.abc import Sequence

from service.basics.stored import Record
from service.store.changes import FORMER_COLUMNS, MarkChanges, changed_meanwhile, mark_changes, version_row
from service.store.session import Session

_FIND = "SELECT row, version FROM resource WHERE organization = ? AND type = ? AND id = ?"
_KEEP = (
    f"INSERT INTO former ({FORMER_COLUMNS}) SELECT {FORMER_COLUMNS} FROM resource WHERE organization = ? AND row = ?"
)
_REPLACE = (
    "UPDATE resource SET version = ?, updated = ?, updated_us = ?, deleted = ?, method = ?, body = ?"
    " WHERE organization = ? AND row = ?"
)
_ADD = f"INSERT INTO resource ({FORMER_COLUMNS}) VALUES ({', '.join('?' * 10)})"


def write(session: Session, organization: str, records: Sequence[Record]) -> None:
    """Write records that are all of different resources; Conflict when one was changed meanwhile."""
    rows = _rows(session, organization, records)
    replaced = [(row, r) for row, r in zip(rows, records, strict=True) if r.before]
    session.many(_KEEP, [(organization, row) for row, _ in replaced])
    session.many(_REPLACE, [(*version_row(organization, r.new)[3:], organization, row) for row, r in replaced])
    added = [(row, *version_row(organization, r.new)) for row, r in zip(rows, records, strict=True) if not r.before]
    session.many(_ADD, added)
    write_marks(session, mark_changes(zip(rows, records, strict=True)))


def _rows(session: Session, organization: str, records: Sequence[Record]) -> list[int]:
    top = session.one("SELECT coalesce(max(row), 0) FROM resource")
    free = top[0] if top else 0
    rows: list[int] = []
    for record in records:
        if record.before is None:
            free += 1
            rows.append(free)
            continue
        found = session.one(_FIND, organization, record.new.type, record.new.id)
        if found is None or found[1] != record.before.version:
            raise changed_meanwhile(record)
        rows.append(found[0])
    return rows


def write_marks(session: Session, changes: MarkChanges) -> None:
    """Write the differences of search keys."""
    if changes.unknown:
        for table in ("mark", "text_mark"):
            session.many(f"DELETE FROM {table} WHERE row = ?", [(row,) for row in changes.unknown])
    if changes.gone:
        session.many("DELETE FROM mark WHERE key = ? AND low = ? AND high = ? AND row = ?", changes.gone)
    if changes.texts_gone:
        session.many("DELETE FROM text_mark WHERE key = ? AND text = ? AND row = ?", changes.texts_gone)
    if changes.come:
        session.many("INSERT INTO mark (key, low, high, row) VALUES (?, ?, ?, ?)", sorted(changes.come))
    if changes.texts_come:
        session.many("INSERT INTO text_mark (key, text, row) VALUES (?, ?, ?)", sorted(changes.texts_come))
