"""Records, turned into rows by the fewest calls that SQLite's driver can make."""

from collections.abc import Sequence

from service.basics.stored import Record
from service.store.changes import (
    CURRENT_COLUMNS,
    FORMER_COLUMNS,
    MarkChanges,
    changed_meanwhile,
    mark_changes,
    place,
    version_row,
)
from service.store.session import Session

_KEEP = (
    f"INSERT INTO former ({FORMER_COLUMNS}) SELECT {FORMER_COLUMNS} FROM resource WHERE organization = ? AND row = ?"
)
_REPLACE = (
    "UPDATE resource SET version = ?, updated = ?, updated_us = ?, deleted = ?, method = ?, body = ?,"
    " present = (present & ?) | ? WHERE organization = ? AND row = ?"
)
_ADD = f"INSERT INTO resource ({CURRENT_COLUMNS}) VALUES ({', '.join('?' * 11)})"


def write(session: Session, organization: str, records: Sequence[Record]) -> None:
    """Write records that are all of different resources; Conflict when one was changed meanwhile."""
    rows = _rows(session, organization, records)
    replaced = [(row, r) for row, r in zip(rows, records, strict=True) if r.before]
    if replaced:
        session.many(_KEEP, [(organization, row) for row, _ in replaced])
        lines = [(*_replacing(organization, r), organization, row) for row, r in replaced]
        session.many(_REPLACE, lines)
    added = [(row, *version_row(organization, r)) for row, r in zip(rows, records, strict=True) if not r.before]
    session.many(_ADD, added)
    write_marks(session, mark_changes(zip(rows, records, strict=True)))


def _replacing(organization: str, record: Record) -> tuple[object, ...]:
    *values, present = version_row(organization, record)[3:]
    return (*values, ~record.keys.covers, present)


def _rows(session: Session, organization: str, records: Sequence[Record]) -> list[int]:
    top = session.one("SELECT coalesce(max(row), 0) FROM resource")
    free = top[0] if top else 0
    rows = [place(session, organization, r) if r.before else (free := free + 1) for r in records]
    _unchanged(session, organization, [(row, r) for row, r in zip(rows, records, strict=True) if r.before])
    return rows


def _unchanged(session: Session, organization: str, replaced: Sequence[tuple[int, Record]]) -> None:
    for start in range(0, len(replaced), 500):
        part = replaced[start : start + 500]
        sql = f"SELECT row, version FROM resource WHERE organization = ? AND row IN ({', '.join('?' * len(part))})"
        versions: dict[int, int] = dict(session.rows(sql, organization, *(row for row, _ in part)))
        for row, record in part:
            if versions.get(row) != record.new.version - 1:
                raise changed_meanwhile(record)


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
