"""Audit lines, turned into rows and back."""

import json
from collections.abc import Iterable

from service.basics.query import AuditQuery
from service.basics.stored import Trace
from service.store import position
from service.store.audit_query import Conditions, asked, walked
from service.store.instants import micros_of
from service.store.page import Rows
from service.store.session import Row, Session

WALK = 10_000
"""How many lines are looked at for one page, so that a search for something rare never holds others up."""
_COLUMNS = "id, recorded, interaction, action, outcome, client, request, type, id_of, operation, entities, address"
_INSERT = (
    f"INSERT INTO audit (organization, {_COLUMNS}, recorded_us) VALUES ({', '.join('?' * 14)})"
    " ON CONFLICT (organization, id) DO NOTHING"  # a batch of which nobody knows whether it was written comes again
)
_NEWEST = "ORDER BY recorded_us DESC, row DESC"


def write(session: Session, lines: Iterable[tuple[str, Trace]]) -> None:
    """Add (organisation, line) pairs; a line that is there already stays as it is."""
    session.many(_INSERT, ((organization, *_values(t), micros_of(t.recorded)) for organization, t in lines))


def _values(t: Trace) -> tuple[str, ...]:
    what = (t.type, t.id_of, t.operation, json.dumps(t.entities), t.address)
    return (t.id, t.recorded, t.interaction, t.action, t.outcome, t.client, t.request, *what)


def page(rows: Rows, *, wanted: AuditQuery, count: int, after: str, walk: int = WALK) -> tuple[tuple[Trace, ...], str]:
    """At most `count` (1 or more) lines, the newest first, and the position of the next page ("" on the last).

    With something asked of each line only `walk` of them are looked at: a page may be short and have a next one."""
    among, checks = walked(wanted, after), asked(wanted)
    if wanted.touching:
        return _touching(rows, wanted, among, count=count, walk=walk)
    lines = f"SELECT {_COLUMNS}, recorded_us, row FROM audit WHERE {among.text} {_NEWEST} LIMIT ?"
    if checks.texts:
        sql = f"SELECT * FROM ({lines}) a WHERE {checks.text} {_NEWEST} LIMIT ?"
        found = rows(sql, *among.params, walk, *checks.params, count + 1)
    else:
        found = rows(lines, *among.params, count + 1)
    if len(found) > count:
        return tuple(map(_trace, found[:count])), position.write(*found[count - 1][12:])
    return tuple(map(_trace, found)), _end(rows, among, walk=walk) if checks.texts else ""


def _touching(
    rows: Rows, wanted: AuditQuery, among: Conditions, *, count: int, walk: int
) -> tuple[tuple[Trace, ...], str]:
    """The same for lines that name one of many references: thousands of them are no matter for a statement."""
    checks = asked(wanted)
    sql = f"SELECT {_COLUMNS}, recorded_us, row FROM audit WHERE {among.text} {_NEWEST} LIMIT ?"
    if checks.texts:
        sql = f"SELECT *, ({checks.text}) AS fits FROM ({sql}) a {_NEWEST}"
    found = rows(sql, *checks.params, *among.params, walk)
    kept: list[Trace] = []
    for row in found:
        line = _trace(row)
        named = {f"{line.type}/{line.id_of}", *line.entities}
        if (not checks.texts or row[14]) and not any(named.isdisjoint(one) for one in wanted.touching):
            kept.append(line)
        if len(kept) == count:
            return tuple(kept), position.write(*row[12:14]) if row is not found[-1] or len(found) == walk else ""
    return tuple(kept), position.write(*found[-1][12:14]) if len(found) == walk else ""


def _end(rows: Rows, among: Conditions, *, walk: int) -> str:
    """Where so long a walk ended, "" when no further lines are there."""
    sql = f"SELECT recorded_us, row FROM audit WHERE {among.text} {_NEWEST} LIMIT 2 OFFSET ?"
    last = rows(sql, *among.params, walk - 1)
    return position.write(*last[0]) if len(last) > 1 else ""


def _trace(row: Row) -> Trace:
    id_, recorded, interaction, action, outcome, client, request, type_, id_of, operation, entities, address, *_ = row
    line = (id_, recorded, interaction, action, outcome, client, request, type_, id_of, operation)
    return Trace(*line, tuple(json.loads(entities)), address)
