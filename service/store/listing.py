"""A query without detours -> the matches that come after a place, from an index, by sorting, or by reading each."""

from dataclasses import dataclass
from math import inf

from service.basics.judging import reads
from service.basics.query import AnyPeriod, Exact, Ids, Period, Query
from service.basics.stored import NO_DATE
from service.store import ordering, snapshot
from service.store.criteria import check
from service.store.drivers import FEW, driven, is_walk
from service.store.moment import Moment
from service.store.ordering import Place
from service.store.page import Look
from service.store.readings import is_read, read
from service.store.rows import COLUMNS, stored
from service.store.session import Row
from service.store.snapshot import Item
from service.store.sql import Sql, all_of, bounds, places

_RESOURCE = ", ".join(f"r.{name}" for name in COLUMNS.split(", "))
_WIDTH = len(COLUMNS.split(", "))
_HANDFUL = 2000  # marks looked at together
_NEWEST = 20_000  # marks looked at for a page of many matches, before all of them are sorted
Stated = tuple[Sql, Sql]
"""FROM ... WHERE of `resource r`, and the conditions that come after it."""


@dataclass(frozen=True, slots=True)
class Part:
    """The matches of one type, at least one more than asked for when there are more; the total where it is known."""

    items: list[Item]
    total: int | None = None


def stated(look: Look, query: Query) -> Stated:
    """Where a query's statements begin and what they hold rows against."""
    start, checks = driven(look, query.criteria)
    return start, all_of(
        [Sql("r.type = ? AND NOT r.deleted", (query.type,)), *(check(c) for c in checks if not reads(c))]
    )


def part(look: Look, query: Query, stated: Stated, *, then: Moment | None, after: Place | None) -> Part:
    """The matches after a place as they were at a moment (without a place: as they are)."""
    start, where = stated
    old: list[Item] = []
    if then is not None and after is not None and query.index is not None:
        where = all_of([where, then.there()])
        old = snapshot.replaced(look, query, then=then)
    if is_read(query):
        items = [*read(look, query, Sql(f"{start.text} AND {where.text}", (*start.params, *where.params))), *old]
        return Part(_later(query, items, after), len(items))
    found = _found(look, query, stated=(start, where), after=after)
    whole = after is None and len(found) <= query.count
    return Part([*found, *_later(query, old, after)], len(found) if whole else None)


def _found(look: Look, query: Query, *, stated: Stated, after: Place | None) -> list[Item]:
    start, where = stated
    if _newest(query) and (is_walk(start) or len(query.criteria) == 1):
        dated = _dated(query)
        if dated:
            return _by_date(look, query, dated, where, after)
        if is_walk(start) and (found := _by_any_date(look, query, where, after)):
            return found
    return _sorted(look, query, start, where, after)


def total(look: Look, query: Query, stated: Stated) -> int:
    """How many match."""
    start, where = stated
    if is_read(query):
        return len(read(look, query, Sql(f"{start.text} AND {where.text}", (*start.params, *where.params))))
    sql = f"SELECT count(*) FROM {start.text} AND {where.text}"
    return int(look.rows(sql, *start.params, *where.params)[0][0])


def cheap_total(look: Look, query: Query, stated: Stated) -> int | None:
    """The same where it costs no more than a page; None where it would."""
    start, where = stated
    if not is_walk(start) or any(isinstance(one, Ids) for one in query.criteria):
        return total(look, query, stated)
    if query.criteria:
        return None
    sql = f"SELECT count(*) FROM (SELECT 1 FROM {start.text} AND {where.text} LIMIT ?) few"
    found = int(look.rows(sql, *where.params, FEW + 1)[0][0])
    return found if found <= FEW else None


def _later(query: Query, items: list[Item], after: Place | None) -> list[Item]:
    if after is None:
        return items
    return [item for item in items if ordering.compared(query.sort, item.place, after) > 0]


def _sorted(look: Look, query: Query, start: Sql, where: Sql, after: Place | None) -> list[Item]:
    """In any order that a statement can sort by."""
    levels = [ordering.expression(level, postgres=look.postgres) for level in query.sort]
    names = "".join(f", {level.text} AS s{n}" for n, level in enumerate(levels))
    values = tuple(value for level in levels for value in level.params)
    inner = f"SELECT {_RESOURCE}{names} FROM {start.text} AND {where.text}"
    beyond = ordering.beyond(query.sort, after) if after else Sql("1 = 1")
    if after and [level.by for level in query.sort] == ["updated"]:  # as the index has it
        inner += f" AND (r.updated_us, r.row) {'<' if ordering.descends(query.sort) else '>'} (?, ?)"
        beyond, where = Sql("1 = 1"), Sql(where.text, (*where.params, *after))
    walks = is_walk(start) and not values and not any(isinstance(one, Ids) for one in query.criteria)
    once = "NOT MATERIALIZED" if walks else "MATERIALIZED"  # few rows are sorted, and looked at once, before the rest
    sql = (
        f"WITH q AS {once} ({inner}) SELECT * FROM q WHERE {beyond.text} ORDER BY {ordering.order(query.sort)} LIMIT ?"
    )
    rows = look.rows(sql, *values, *start.params, *where.params, *beyond.params, query.count + 1)
    return [_item(row) for row in rows]


def _item(row: Row) -> Item:
    found = stored(row)
    return Item((*row[_WIDTH:], found.row), found)


def _newest(query: Query) -> bool:
    """Whether the own date, newest first, is the order asked for."""
    return len(query.sort) == 1 and query.sort[0].own and query.sort[0].descending


def _dated(query: Query) -> Period | None:
    """The one mark that a search by the own date, newest first, can go through in the order of its index."""
    for one in query.criteria:
        match one:
            case Exact(keys=(key,)):
                return Period(key)
            case AnyPeriod(periods=(Period(low_from=None, low_to=None) as period,)) if period.high_from is not None:
                return period if period.high_from == period.high_to else None
    return None


def _by_any_date(look: Look, query: Query, where: Sql, after: Place | None) -> list[Item]:
    """A page found among the newest of all, because many match; none where it isn't filled from those."""
    if after and after[0] is None:
        return []
    found = _by_date(look, query, Period(query.sort[0].key), where, after, most=_NEWEST)
    return found if len(found) > query.count else []


def _by_date(
    look: Look, query: Query, period: Period, where: Sql, after: Place | None, *, most: float = inf
) -> list[Item]:
    """Handfuls of marks in the order of their index, each row then held against the rest; about `most` of them."""
    pinned = all_of([Sql("key = ?", (period.key,)), bounds("high", period.high_from, period.high_to)])
    at = (NO_DATE if after[0] is None else after[0], after[1]) if after else None
    found: dict[int, Item] = {}
    handful = 2 * query.count + 2
    while len(found) <= query.count and most > 0:
        beyond = Sql("(low, row) < (?, ?)", at) if at else Sql("1 = 1")
        marks = look.marks(
            f"SELECT low, row FROM mark WHERE {pinned.text} AND {beyond.text} ORDER BY low DESC, row DESC LIMIT ?",
            *(*pinned.params, *beyond.params, handful),
        )
        found |= _fitting(look, [mark for mark in marks if mark[1] not in found], where)
        if len(marks) < handful:
            break
        most -= handful
        at, handful = marks[-1], min(2 * handful, _HANDFUL)
    return list(found.values())


def _fitting(look: Look, marks: list[Row], where: Sql) -> dict[int, Item]:
    """The items of those marks whose resources fit, in the same order."""
    rows = [row for _, row in marks]
    if not rows:
        return {}
    few = f"(SELECT row FROM resource WHERE row IN ({places(rows)})) d CROSS JOIN resource r"
    sql = f"SELECT {_RESOURCE} FROM {few} WHERE r.row = d.row AND r.organization = ? AND {where.text}"
    versions = {version.row: version for version in map(stored, look.rows(sql, *rows, *where.params))}
    dates = {row: None if low <= NO_DATE else low for low, row in reversed(marks)}
    return {row: Item((dates[row], row), versions[row]) for row in dict.fromkeys(rows) if row in versions}
