"""A stretch of time -> the resources that bear a date in it; a month -> whether its books are closed."""

from collections.abc import Callable, Iterable, Iterator

from service.basics.stored import Closed, Late, Stored
from service.store.instants import instant, micros_of, moment
from service.store.page import Rows
from service.store.rows import COLUMNS, stored
from service.store.session import Row

_PART = 200
_RESOURCE = ", ".join(f"r.{name}" for name in COLUMNS.split(", "))
_MARKS = (
    "SELECT low, high, row FROM mark WHERE key = ? AND low >= ? AND low < ? AND (low, high, row) > (?, ?, ?)"
    " ORDER BY low, high, row LIMIT ?"
)
_SINCE = (
    f"SELECT {COLUMNS} FROM resource WHERE organization = ? AND type = ? AND (updated_us, row) > (?, ?)"
    " ORDER BY updated_us, row LIMIT ?"
)
_CLOSED = "SELECT month, closed, by, totals FROM closed_month WHERE organization = ?"
_LATE = (
    "SELECT id, destination, thread, event, state, made, due_us FROM post WHERE organization = ? AND destination = ?"
)
_NUMBERS = "invoice "  # before the year, in the name of a counter


def dated(mine: Rows, marks: Callable[..., list[Row]], *, key: int, low: int, high: int) -> Iterator[Stored]:
    """The resources whose mark of `key` begins in [low, high), in order of time; two hundred in memory at once."""
    after = (low - 1, low - 1, 0)
    while found := marks(_MARKS, key, low, high, *after, _PART):
        after = found[-1][0], found[-1][1], found[-1][2]
        rows = [row for _, _, row in found]
        places = ", ".join("?" * len(rows))
        sql = f"SELECT {_RESOURCE} FROM resource r WHERE r.organization = ? AND NOT r.deleted AND r.row IN ({places})"
        bodies = {one.row: one for one in map(stored, mine(sql, *rows))}
        yield from (bodies[row] for row in rows if row in bodies)
        if len(found) < _PART:
            return


def since(mine: Rows, type_: str, us: int) -> Iterator[Stored]:
    """The resources of a type whose version is not older than an instant, the oldest first, deleted ones among them."""
    after = (us - 1, 1 << 62)
    while found := mine(_SINCE, type_, *after, _PART):
        for one in map(stored, found):
            after = (micros_of(one.updated), one.row)
            yield one
        if len(found) < _PART:
            return


def closed(mine: Rows) -> tuple[Closed, ...]:
    """The months whose books are closed, the earliest first."""
    return tuple(Closed(*row) for row in mine(f"{_CLOSED} ORDER BY month"))


def is_closed(mine: Rows, month: str) -> bool:
    """Whether the books of a month such as 2026-11 are closed."""
    return bool(mine(f"{_CLOSED} AND month = ?", month))


def invoice_counters(mine: Rows) -> dict[int, int]:
    """How many invoice numbers were given out, by year."""
    found = mine("SELECT series, value FROM counter WHERE organization = ? AND series LIKE ?", f"{_NUMBERS}%")
    return {int(series.removeprefix(_NUMBERS)): int(value) for series, value in found}


def late(mine: Rows, destinations: Iterable[str], *, since_us: int, since: str, before: str) -> tuple[Late, ...]:
    """The posts that were given up since an instant, and those that wait, made from `since` to `before`."""
    found: list[Row] = []
    for name in destinations:
        found += mine(f"{_LATE} AND state = 'dead' AND due_us >= ? ORDER BY row", name, since_us)
        found += mine(f"{_LATE} AND state = 'waiting' AND made >= ? AND made < ? ORDER BY row", name, since, before)
    return tuple(map(_late, found))


def late_of(mine: Rows, destinations: Iterable[str], thread: str, *, before: str) -> tuple[Late, ...]:
    """The posts of one thread that were given up, and those that have waited since before an instant."""
    sql = f"{_LATE} AND thread = ? AND (state = 'dead' OR (state = 'waiting' AND made < ?)) ORDER BY row"
    return tuple(_late(row) for name in destinations for row in mine(sql, name, thread, before))


def _late(row: Row) -> Late:
    id_, destination, thread, event, state, made, due_us = row
    return Late(id_, destination, thread, event, state, made, instant(moment(due_us)) if state == "dead" else made)
