"""A query, turned into one page: statements that begin at the most selective criterion, and what changed since."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from service.basics.query import Page, Query
from service.basics.stored import Stored
from service.store import listing, moment, ordering, position
from service.store.listing import Part, Stated
from service.store.moment import Moment
from service.store.ordering import Place
from service.store.page import Look
from service.store.rows import COLUMNS, stored
from service.store.snapshot import Item
from service.store.sql import places
from service.store.through import resolved

_BY_ROW = f"SELECT {COLUMNS} FROM resource WHERE organization = ? AND row IN "
_KINDS: dict[str, tuple[type, ...]] = {"updated": (int,), "id": (str,), "low": (int, type(None))}


def page(look: Look, query: Query) -> Page:
    """One page, as everything was at the first one; Invalid for a position that is not ours, Gone for a stale one."""
    queries = [_resolved(look, one) for one in (query, *query.also)]
    wanted = [(one, listing.stated(look, one)) for one in queries]
    if query.summary == "count" or query.count == 0:
        return Page((), sum(listing.total(look, one, stated) for one, stated in wanted))
    then, known, after = _place(look, query)
    if then is None and not look.steady:
        then = _now(look, query)
    parts = [listing.part(look, replace(q, count=query.count), s, then=then, after=after) for q, s in wanted]
    items = sorted((item for part in parts for item in part.items), key=_key(query))
    shown, more = items[: query.count], len(items) > query.count
    total = known if after else _total(look, query, wanted=wanted, parts=parts)
    end = position.pack((*(then or _now(look, query)).pack(), total, *shown[-1].place)) if more else ""
    return Page(_versions(look, shown), total, end)


def _resolved(look: Look, query: Query) -> Query:
    return replace(query, criteria=tuple(resolved(look, one) for one in query.criteria), also=())


def _key(query: Query) -> Callable[[Item], Any]:
    compare = ordering.sorting(query.sort)
    return lambda item: compare(item.place)


def _now(look: Look, query: Query) -> Moment:
    return moment.now(look, [query.type, *(one.type for one in query.also)])


def _place(look: Look, query: Query) -> tuple[Moment | None, int | None, Place | None]:
    """(what the first page saw, the total it told, where the page before this one ended); of a first page nothing."""
    if not query.after:
        return None, None, None
    values = position.unpack(query.after)
    if len(values) != len(query.sort) + 4:
        raise position.not_ours()
    as_of, saw, total, *levels, row = values
    sound = all(
        isinstance(v, _KINDS.get(level.by, (str, type(None)))) for level, v in zip(query.sort, levels, strict=True)
    )
    if not sound or not isinstance(row, int) or isinstance(total, str):
        raise position.not_ours()
    return moment.unpack(as_of, saw, postgres=look.postgres), total, (*levels, row)


def _total(look: Look, query: Query, *, wanted: list[tuple[Query, Stated]], parts: list[Part]) -> int | None:
    """How many match in all: always when asked for, never when not wanted, else when it is cheap to say."""
    if query.total == "none":
        return None
    count = listing.total if query.total == "accurate" else listing.cheap_total
    found = 0
    for (one, stated), part in zip(wanted, parts, strict=True):
        known = count(look, one, stated) if part.total is None else part.total
        if known is None:
            return None
        found += known
    return found


def _versions(look: Look, items: list[Item]) -> tuple[Stored, ...]:
    """The versions of the items, those that were only listed read by their rows."""
    missing = [item.place[-1] for item in items if item.found is None]
    read: dict[object, Stored] = {}
    if missing:
        rows = look.rows(f"{_BY_ROW}({places(missing)})", *missing)
        read = {version.row: version for version in map(stored, rows)}
    return tuple(item.found or read[item.place[-1]] for item in items)
