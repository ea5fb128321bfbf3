"""A search that only the texts of resources can answer -> its matches, by reading every candidate, up to a bound."""

from service.basics.judging import Version, fits_all, reads
from service.basics.query import Both, Criterion, Either, Not, Query, Reads
from service.basics.stored import Keys
from service.store import ordering
from service.store.instants import micros_of
from service.store.page import Look
from service.store.rows import COLUMNS, stored
from service.store.snapshot import Item, too_costly
from service.store.sql import Sql

MOST = 20_000  # resources that one search reads
_PART = 500
_NOTHING = Keys(frozenset(), frozenset())
_RESOURCE = ", ".join(f"r.{name}" for name in COLUMNS.split(", "))


def is_read(query: Query) -> bool:
    """Whether an order or a criterion needs the texts."""
    return any(level.by == "word" for level in query.sort) or any(map(reads, query.criteria))


def read(look: Look, query: Query, start: Sql) -> list[Item]:
    """Every match, with its place and without its text; Invalid when there are too many candidates."""
    asked = tuple(filter(reads, query.criteria))
    keyed = any(level.by in ("low", "text") for level in query.sort) or not all(map(_pure, asked))
    found: list[Item] = []
    last = seen = 0
    sql = f"SELECT {_RESOURCE} FROM {start.text} AND r.row > ? ORDER BY r.row LIMIT ?"
    while rows := look.rows(sql, *start.params, last, _PART):
        seen += len(rows)
        if seen > MOST:
            raise too_costly(MOST)
        for one in map(stored, rows):
            keys = query.index(one.body) if keyed and query.index else _NOTHING
            version = Version(one.id, micros_of(one.updated), keys, one.body)
            if fits_all(version, asked):
                found.append(Item(ordering.place(query.sort, version, one.row)))
            last = one.row
    return found


def _pure(criterion: Criterion) -> bool:
    """Whether it needs the text and nothing else."""
    match criterion:
        case Reads():
            return True
        case Not(of=of):
            return _pure(of)
        case Either(of=several) | Both(of=several):
            return all(map(_pure, several))
        case _:
            return False
