"""A query, turned into one statement that begins at its most selective criterion."""

from collections.abc import Callable
from dataclasses import dataclass

from service.basics.query import AnyPeriod, Criterion, Exact, Ids, Page, Period, Query, Starts, Updated
from service.store import position
from service.store.page import Rows
from service.store.rows import COLUMNS, stored
from service.store.session import Row

_RESOURCE = ", ".join(f"r.{name}" for name in COLUMNS.split(", "))
_FEW = 1000  # up to so many candidates are fetched and sorted; above, the type is walked in order of time
_LAST = "\U0010ffff"

One = Callable[..., Row | None]


@dataclass(frozen=True, slots=True)
class _Sql:
    """A piece of a statement and its values."""

    text: str
    params: tuple[object, ...] = ()


def page(rows: Rows, one: One, *, query: Query) -> Page:
    """The page, with the exact total when it was asked for; Invalid for a position that is not ours."""
    driver = _driver(one, query.criteria)
    checks = [_check(c) for c in query.criteria if driver is None or c is not driver[0]]
    where = _where(query, _start(driver[1] if driver else None), checks)
    wanted = 0 if query.summary == "count" else query.count
    found: list[Row] = []
    if wanted:
        sql, params = _listing(query, where)
        found = rows(sql, *params)
    more = len(found) > wanted
    complete = bool(wanted) and not more and not query.after
    total = None
    if query.total or query.summary == "count":
        total = len(found) if complete else rows(f"SELECT count(*) {where.text}", *where.params)[0][0]
    after = position.write(found[wanted - 1][8], found[wanted - 1][7]) if more else ""
    return Page(matches=tuple(map(stored, found[:wanted])), total=total, after=after)


def _start(driver: _Sql | None) -> _Sql:
    if driver is None:
        return _Sql("resource r WHERE r.organization = ?")
    # CROSS JOIN keeps SQLite from turning the order of the two around
    first = f"(SELECT DISTINCT row FROM ({driver.text}) c) d"
    return _Sql(f"{first} CROSS JOIN resource r WHERE d.row = r.row AND r.organization = ?", driver.params)


def _driver(one: One, criteria: tuple[Criterion, ...]) -> tuple[Criterion, _Sql] | None:
    """The criterion with the fewest candidates and how to list them; None when all have many."""
    if any(isinstance(c, Ids) for c in criteria):
        return None  # ids are found through the key of the table itself
    best: tuple[int, Criterion, _Sql] | None = None
    for criterion in criteria:
        listing = _candidates(criterion)
        if listing is None:
            continue
        limit = best[0] if best else _FEW + 1
        counted = one(f"SELECT count(*) FROM (SELECT 1 FROM ({listing.text}) a LIMIT ?) b", *listing.params, limit)
        if counted is not None and counted[0] < limit:
            best = (counted[0], criterion, listing)
    return best[1:] if best else None


def _candidates(criterion: Criterion) -> _Sql | None:
    """Every row that fits one criterion; None when that can't be listed."""
    match criterion:
        case Exact(keys=keys, negated=False):
            return _Sql(f"SELECT row FROM mark WHERE key IN ({_places(keys)})", keys)
        case AnyPeriod(periods=periods):
            return _any([_period(p) for p in periods], prefix="SELECT row FROM mark WHERE ")
        case Period():
            return _any([_period(criterion)], prefix="SELECT row FROM mark WHERE ")
        case Starts():
            return _any(_texts(criterion), prefix="SELECT row FROM text_mark WHERE ")
        case _:
            return None


def _check(criterion: Criterion) -> _Sql:
    """A condition on one resource row `r`."""
    match criterion:
        case Exact(keys=keys, negated=negated):
            none = "NOT " if negated else ""
            return _Sql(f"{none}EXISTS (SELECT 1 FROM mark m WHERE m.row = r.row AND m.key IN ({_places(keys)}))", keys)
        case Period() | AnyPeriod():
            periods = criterion.periods if isinstance(criterion, AnyPeriod) else (criterion,)
            return _exists("mark", [_period(p) for p in periods])
        case Starts():
            return _exists("text_mark", _texts(criterion))
        case Ids(ids=ids):
            return _Sql(f"r.id IN ({_places(ids)})", ids)
        case Updated(low=low, high=high):
            return _bounds("r.updated_us", low, high)


def _places(values: tuple[object, ...]) -> str:
    return ", ".join("?" * len(values)) or "NULL"


def _any(pieces: list[_Sql], *, prefix: str = "") -> _Sql:
    text = " OR ".join(f"({p.text})" for p in pieces) or "1 = 0"
    return _Sql(f"{prefix}({text})", tuple(value for p in pieces for value in p.params))


def _exists(table: str, pieces: list[_Sql]) -> _Sql:
    inner = _any(pieces)
    return _Sql(f"EXISTS (SELECT 1 FROM {table} m WHERE m.row = r.row AND {inner.text})", inner.params)


def _bounds(column: str, low: int | None, high: int | None) -> _Sql:
    parts = [(f"{column} >= ?", low), (f"{column} <= ?", high)]
    kept = [(text, value) for text, value in parts if value is not None]
    return _Sql(" AND ".join(text for text, _ in kept) or "1 = 1", tuple(value for _, value in kept))


def _period(period: Period) -> _Sql:
    low = _bounds("low", period.low_from, period.low_to)
    high = _bounds("high", period.high_from, period.high_to)
    return _Sql(f"key = ? AND {low.text} AND {high.text}", (period.key, *low.params, *high.params))


def _texts(criterion: Starts) -> list[_Sql]:
    if criterion.exact:
        return [_Sql("key = ? AND text = ?", (criterion.key, text)) for text in criterion.texts]
    return [_Sql("key = ? AND text >= ? AND text < ?", (criterion.key, t, t + _LAST)) for t in criterion.texts]


def _where(query: Query, start: _Sql, checks: list[_Sql]) -> _Sql:
    parts = [_Sql("r.type = ? AND NOT r.deleted", (query.type,)), *checks]
    text = " AND ".join(f"({p.text})" for p in parts)
    return _Sql(f"FROM {start.text} AND {text}", (*start.params, *(value for p in parts for value in p.params)))


def _listing(query: Query, where: _Sql) -> tuple[str, tuple[object, ...]]:
    sign, way = (">", "ASC") if query.oldest_first else ("<", "DESC")
    after = _Sql("")
    if query.after:
        after = _Sql(f" AND (r.updated_us, r.row) {sign} (?, ?)", position.read(query.after, size=2))
    order = f"ORDER BY r.updated_us {way}, r.row {way} LIMIT ?"
    sql = f"SELECT {_RESOURCE}, r.updated_us {where.text}{after.text} {order}"
    return sql, (*where.params, *after.params, query.count + 1)
