"""Audit lines, turned into rows and back."""

import json
from collections.abc import Iterable

from service.basics.stored import Trace
from service.store import position
from service.store.instants import micros_of
from service.store.page import Rows
from service.store.session import Row, Session

_COLUMNS = "id, recorded, interaction, action, outcome, client, request, type, id_of, operation, entities"
_INSERT = f"INSERT INTO audit (organization, {_COLUMNS}, recorded_us) VALUES ({', '.join('?' * 13)})"


def write(session: Session, lines: Iterable[tuple[str, Trace]]) -> None:
    """Add (organisation, line) pairs."""
    session.many(_INSERT, ((organization, *_values(t), micros_of(t.recorded)) for organization, t in lines))


def _values(t: Trace) -> tuple[str, ...]:
    what = (t.type, t.id_of, t.operation, json.dumps(t.entities))
    return (t.id, t.recorded, t.interaction, t.action, t.outcome, t.client, t.request, *what)


def page(rows: Rows, *, since: str, count: int, after: str) -> tuple[tuple[Trace, ...], str]:
    """Lines, the newest first, and the position of the next page ("" on the last)."""
    bounds: list[object] = [micros_of(since) if since else -(1 << 63)]
    where = "organization = ? AND recorded_us >= ?"
    if after:
        where += " AND (recorded_us, row) < (?, ?)"
        bounds += position.read(after, size=2)
    sql = f"SELECT {_COLUMNS}, recorded_us, row FROM audit WHERE {where} ORDER BY recorded_us DESC, row DESC LIMIT ?"
    found = rows(sql, *bounds, count + 1)
    lines = tuple(map(_trace, found[:count]))
    return lines, position.write(*found[count - 1][11:]) if len(found) > count > 0 else ""


def _trace(row: Row) -> Trace:
    id_, recorded, interaction, action, outcome, client, request, type_, id_of, operation, entities, *_ = row
    line = (id_, recorded, interaction, action, outcome, client, request, type_, id_of, operation)
    return Trace(*line, tuple(json.loads(entities)))
