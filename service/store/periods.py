"""A stretch of time -> the resources that bear a date in it; a month -> whether its books are closed."""

from collections.abc import Callable, Iterable, Iterator

from service.basics.stored import Closed, Late, Stored
from service.store.instants import instant, moment
from service.store.page import Rows
from service.store.rows import COLUMNS, stored
from service.store.session import Row

_PART = 200
_RESOURCE = ", ".join(f"r.{name}" for name in COLUMNS.split(", "))
_MARKS = (
    "SELECT low, high, row FROM mark WHERE key = ? AND low >= ? AND low < ? AND (low, high, row) > (?, ?, ?)"
    " ORDER BY low, high, row LIMIT ?"
)
_CLOSED = "SELECT month, closed, by, totals FROM closed_month WHERE organization = ?"
_LATE = (
    "SELECT id, destination, thread, event, state, made, due_us FROM post WHERE organization = ? AND destination = ?"
    " AND state = ?"
)


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


def closed(mine: Rows) -> tuple[Closed, ...]:
    """The months whose books are closed, the earliest first."""
    return tuple(Closed(*row) for row in mine(f"{_CLOSED} ORDER BY month"))


def is_closed(mine: Rows, month: str) -> bool:
    """Whether the books of a month such as 2026-11 are closed."""
    return bool(mine(f"{_CLOSED} AND month = ?", month))


def late(mine: Rows, destinations: Iterable[str], *, before: str) -> tuple[Late, ...]:
    """The posts that were given up, and those that have waited since before an instant."""
    found: list[Row] = []
    for name in destinations:
        found += mine(f"{_LATE} ORDER BY row", name, "dead")
        found += mine(f"{_LATE} AND made < ? ORDER BY row", name, "waiting", before)
    return tuple(map(_late, found))


def _late(row: Row) -> Late:
    id_, destination, thread, event, state, made, due_us = row
    return Late(id_, destination, thread, event, state, made, instant(moment(due_us)) if state == "dead" else made)
