"""Records, turned into rows by a handful of set-wise statements for PostgreSQL."""

from collections.abc import Iterable, Sequence

from service.basics.stored import Record
from service.store.changes import FORMER_COLUMNS, MarkChanges, changed_meanwhile, mark_changes, version_row
from service.store.session import Session

# Each id is looked up by the whole key: without statistics a plan of its own choice would read the whole type.
_KEEP = (
    f"INSERT INTO former ({FORMER_COLUMNS}) SELECT {FORMER_COLUMNS} FROM unnest(?::text[], ?::text[], ?::bigint[])"
    " AS w (t, i, v) CROSS JOIN LATERAL (SELECT * FROM resource WHERE organization = ? AND type = w.t AND id = w.i"
    " AND version = w.v OFFSET 0) r RETURNING type, id, row"
)
_REPLACE = (
    "UPDATE resource SET version = w.version, updated = w.updated, updated_us = w.updated_us, deleted = w.deleted,"
    " method = w.method, body = w.body FROM unnest(?::bigint[], ?::bigint[], ?::text[], ?::bigint[], ?::bool[],"
    " ?::text[], ?::bytea[]) AS w (row, version, updated, updated_us, deleted, method, body)"
    " WHERE resource.organization = ? AND resource.row = w.row AND resource.version = w.version - 1"
)
_FREE = "SELECT nextval('resource_row_seq') FROM generate_series(1, ?)"
_ADD = f"COPY resource ({FORMER_COLUMNS}) FROM STDIN (FORMAT BINARY)"
_ADD_TYPES = ("int8", "text", "text", "text", "int8", "text", "int8", "bool", "text", "bytea")


def write(session: Session, organization: str, records: Sequence[Record]) -> None:
    """Write records that are all of different resources; Conflict when one was changed meanwhile."""
    replaced = [r for r in records if r.before]
    rows = _replace(session, organization, replaced) if replaced else {}
    added = [r for r in records if not r.before]
    if added:
        free = [row[0] for row in session.rows(_FREE, len(added))]
        _copy_resources(session, [(n, *version_row(organization, r.new)) for n, r in zip(free, added, strict=True)])
        rows |= {(r.new.type, r.new.id): n for n, r in zip(free, added, strict=True)}
    write_marks(session, mark_changes((rows[r.new.type, r.new.id], r) for r in records))


def _replace(session: Session, organization: str, records: Sequence[Record]) -> dict[tuple[str, str], int]:
    # in one order everywhere, so that two writers of the same resources never wait for each other in a circle
    wanted = sorted((r.new.type, r.new.id, r.new.version - 1) for r in records)
    types, ids, versions = zip(*wanted, strict=True)
    kept = session.rows(_KEEP, list(types), list(ids), _numbers(versions), organization)
    rows = {(type_, id_): row for type_, id_, row in kept}
    for r in records:
        if (r.new.type, r.new.id) not in rows:
            raise changed_meanwhile(r)
    lines = sorted((rows[r.new.type, r.new.id], *version_row(organization, r.new)[3:]) for r in records)
    row, version, updated, updated_us, deleted, method, body = map(list, zip(*lines, strict=True))
    numbers = (_numbers(row), _numbers(version), updated, _numbers(updated_us), deleted, method, body)
    if session.run(_REPLACE, *numbers, organization) != len(records):
        raise changed_meanwhile(records[0])
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
        session.many("INSERT INTO text_mark (key, text, row) VALUES (?, ?, ?)", sorted(changes.texts_come))
