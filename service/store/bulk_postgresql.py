"""Records, turned into rows by a handful of set-wise statements for PostgreSQL."""

from collections.abc import Iterable, Sequence

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

# By row number: without statistics, a plan that finds them by their ids would read all there is of their type.
_REPLACE = (
    "WITH w AS MATERIALIZED (SELECT * FROM unnest(?::bigint[], ?::bigint[], ?::text[], ?::bigint[], ?::bool[],"
    " ?::text[], ?::bytea[], ?::bigint[], ?::bigint[])"
    " AS w (row, version, updated, updated_us, deleted, method, body, present, stays)),"
    f" kept AS (INSERT INTO former ({FORMER_COLUMNS}) SELECT {', '.join('r.' + c for c in FORMER_COLUMNS.split(', '))}"
    " FROM w JOIN resource r ON r.row = w.row WHERE r.organization = ? AND r.version = w.version - 1"
    " ON CONFLICT (row, version) DO NOTHING)"  # who was overtaken kept it already; the update below then finds no row
    " UPDATE resource SET version = w.version, updated = w.updated, updated_us = w.updated_us, deleted = w.deleted,"
    " method = w.method, body = w.body, present = (resource.present & w.stays) | w.present"
    " FROM w"
    " WHERE resource.organization = ? AND resource.row = w.row AND resource.version = w.version - 1"
    " RETURNING resource.row"
)
_FREE = "SELECT nextval('resource_row_seq') FROM generate_series(1, ?)"
_ADD = f"COPY resource ({CURRENT_COLUMNS}) FROM STDIN (FORMAT BINARY)"
_ADD_TYPES = ("int8", "text", "text", "text", "int8", "text", "int8", "bool", "text", "bytea", "int8")


def write(session: Session, organization: str, records: Sequence[Record]) -> None:
    """Write records that are all of different resources; Conflict when one was changed meanwhile."""
    replaced = [r for r in records if r.before]
    rows = _replace(session, organization, replaced) if replaced else {}
    added = [r for r in records if not r.before]
    if added:
        free = [row[0] for row in session.rows(_FREE, len(added))]
        _copy_resources(session, [(n, *version_row(organization, r)) for n, r in zip(free, added, strict=True)])
        rows |= {(r.new.type, r.new.id): n for n, r in zip(free, added, strict=True)}
    write_marks(session, mark_changes((rows[r.new.type, r.new.id], r) for r in records))


def _replace(session: Session, organization: str, records: Sequence[Record]) -> dict[tuple[str, str], int]:
    rows = {(r.new.type, r.new.id): place(session, organization, r) for r in records}
    # in one order everywhere, so that two writers of the same resources never wait for each other in a circle
    lines = sorted((rows[r.new.type, r.new.id], *version_row(organization, r)[3:], ~r.keys.covers) for r in records)
    row, version, updated, updated_us, deleted, method, body, present, stays = map(list, zip(*lines, strict=True))
    columns = (
        _numbers(row),
        _numbers(version),
        updated,
        _numbers(updated_us),
        deleted,
        method,
        body,
        _numbers(present),
        _numbers(stays),
    )
    done = {found[0] for found in session.rows(_REPLACE, *columns, organization, organization)}
    for r in records:
        if rows[r.new.type, r.new.id] not in done:
            raise changed_meanwhile(r)
    return rows


def _numbers(values: Iterable[object]) -> str:
    """An array literal, which the driver passes on a hundred times faster than a list."""
    return "{" + ",".join(map(str, values)) + "}"


def _copy_resources(session: Session, lines: Iterable[tuple[object, ...]]) -> None:
    with session.cursor.copy(_ADD) as copy:
        copy.set_types(_ADD_TYPES)
        for line in lines:
            copy.write_row(line)


def write_marks(session: Session, changes: MarkChanges) -> None:
    """Write the differences of search keys."""
    if changes.unknown:
        for table in ("mark", "text_mark"):
            session.run(f"DELETE FROM {table} WHERE row = ANY(?::bigint[])", _numbers(changes.unknown))
    if changes.gone:
        columns = [_numbers(column) for column in zip(*changes.gone, strict=True)]
        session.run(
            "DELETE FROM mark USING unnest(?::bigint[], ?::bigint[], ?::bigint[], ?::bigint[])"
            " AS w (key, low, high, row)"
            " WHERE mark.key = w.key AND mark.low = w.low AND mark.high = w.high AND mark.row = w.row",
            *columns,
        )
    if changes.texts_gone:
        session.many("DELETE FROM text_mark WHERE key = ? AND text = ? AND row = ?", changes.texts_gone)
    if changes.come:
        with session.cursor.copy("COPY mark (key, low, high, row) FROM STDIN") as copy:
            copy.write("".join(f"{key}\t{low}\t{high}\t{row}\n" for key, low, high, row in sorted(changes.come)))
    if changes.texts_come:
        with session.cursor.copy("COPY text_mark (key, text, row) FROM STDIN (FORMAT BINARY)") as copy:
            copy.set_types(("int8", "text", "int8"))
            for line in sorted(changes.texts_come):
                copy.write_row(line)
