"""Criteria that lead through other resources (chains, _has) -> criteria on keys and ids, by searching those first."""

from collections.abc import Iterator
from typing import Any

from service.basics.errors import Fault, Invalid
from service.basics.query import Backward, Both, Criterion, Either, Exact, Forward, Ids, Not
from service.store.criteria import check
from service.store.drivers import driven
from service.store.page import Look
from service.store.sql import all_of

MOST = 5000  # resources in between that one search may lead through
_PART = 500


def resolved(look: Look, criterion: Criterion) -> Criterion:
    """The same criterion without detours; Invalid when it leads through too many."""
    match criterion:
        case Not(of=of):
            return Not(resolved(look, of))
        case Either(of=several):
            return Either(tuple(resolved(look, one) for one in several))
        case Both(of=several):
            return Both(tuple(resolved(look, one) for one in several))
        case Forward(type=type_, criteria=criteria, keys=keys):
            found = [id_ for id_, _ in _fitting(look, type_, criteria, "r.id, r.id")]
            return Exact(tuple(key for id_ in found for key in keys(str(id_))))
        case Backward(type=type_, criteria=criteria, ids=ids):
            bodies = _fitting(look, type_, criteria, "r.body, r.row")
            return Ids(tuple({id_ for body, _ in bodies for id_ in ids(body)}))
        case _:
            return criterion


def _fitting(look: Look, type_: str, criteria: tuple[Criterion, ...], columns: str) -> Iterator[tuple[Any, Any]]:
    plain = tuple(resolved(look, one) for one in criteria)
    start, checks = driven(look, plain)
    where = all_of(map(check, checks))
    sql = f"SELECT {columns}, r.row FROM {start.text} AND r.type = ? AND NOT r.deleted AND {where.text}"
    last, seen = 0, 0
    sql += " AND r.row > ? ORDER BY r.row LIMIT ?"
    while found := look.rows(sql, *start.params, type_, *where.params, last, _PART):
        seen += len(found)
        if seen > MOST:
            text = f"This search leads through over {MOST} resources of type {type_}: narrow that part down."
            raise Invalid(Fault("too-costly", text))
        yield from ((row[0], row[1]) for row in found)
        last = found[-1][2]
