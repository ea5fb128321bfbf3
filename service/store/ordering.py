"""The order of a search: as expressions of a statement, as a comparison in memory, and as a place to go on after."""

from collections.abc import Iterable, Sequence
from functools import cmp_to_key
from typing import Any

from service.basics.judging import Version
from service.basics.query import Sort
from service.store.sql import Sql, all_of, any_of

Value = int | str | None
Place = tuple[Value, ...]
"""The values of every level, then the row."""


def descends(sort: Sequence[Sort]) -> bool:
    """Whether rows that are equal in every level come with the newest first."""
    return sort[0].descending


def expression(level: Sort, *, postgres: bool) -> Sql:
    """The value of one level for a row of `resource r`."""
    # + 0 keeps PostgreSQL from looking through everything under the key for the marks of this row
    pick = "max" if level.descending else "min"
    match level.by:
        case "updated":
            return Sql("r.updated_us")
        case "id":
            return Sql('r.id COLLATE "C"' if postgres else "r.id")
        case "low":
            return Sql(f"(SELECT {pick}(m.low) FROM mark m WHERE m.row = r.row AND m.key + 0 = ?)", (level.key,))
        case "text":
            return Sql(f"(SELECT {pick}(m.text) FROM text_mark m WHERE m.row = r.row AND m.key + 0 = ?)", (level.key,))
        case _:
            return Sql("NULL")  # read from the body


def order(sort: Sequence[Sort]) -> str:
    """ORDER BY for levels called s0, s1 ... and a row; without a value comes last."""
    levels = []
    for n, level in enumerate(sort):
        levels += [] if level.by in ("updated", "id") else [f"(s{n} IS NULL)"]
        levels.append(f"s{n} {'DESC' if level.descending else 'ASC'}")
    return ", ".join([*levels, "row DESC" if descends(sort) else "row ASC"])


def beyond(sort: Sequence[Sort], place: Place) -> Sql:
    """What comes after a place, for the same names."""
    *values, row = place
    cases = [all_of([*_equal(values[:n]), _later(f"s{n}", values[n], sort[n])]) for n in range(len(sort))]
    last = Sql(f"row {'<' if descends(sort) else '>'} ?", (row,))
    return any_of([*cases, all_of([*_equal(values), last])])


def _equal(values: Sequence[Value]) -> list[Sql]:
    return [Sql(f"s{n} IS NULL") if v is None else Sql(f"s{n} = ?", (v,)) for n, v in enumerate(values)]


def _later(name: str, value: Value, level: Sort) -> Sql:
    if value is None:
        return Sql("1 = 0")
    return Sql(f"{name} {'<' if level.descending else '>'} ? OR {name} IS NULL", (value,))


def place(sort: Sequence[Sort], version: Version, row: int) -> Place:
    """Where a version stands."""
    return (*(value(level, version) for level in sort), row)


def value(level: Sort, version: Version) -> Value:
    """The value of one level."""
    if level.by == "updated":
        return version.updated
    if level.by == "id":
        return version.id
    several: list[Any] = list(_values(level, version))
    return (max if level.descending else min)(several, default=None)


def _values(level: Sort, version: Version) -> Iterable[int | str]:
    if level.by == "low":
        return (mark.low for mark in version.keys.marks if mark.key == level.key)
    if level.by == "text":
        return (text.text for text in version.keys.texts if text.key == level.key)
    return level.words(version.body) if level.words else ()


def compared(sort: Sequence[Sort], one: Place, other: Place) -> int:
    """Below 0 when `one` comes first, above when `other` does."""
    for n, level in enumerate(sort):
        first, second = one[n], other[n]
        if first != second:
            if first is None or second is None:
                return 1 if first is None else -1
            return _sign(first, second) * (-1 if level.descending else 1)
    return _sign(one[-1], other[-1]) * (-1 if descends(sort) else 1)


def _sign(one: Any, other: Any) -> int:
    return 1 if one > other else -1 if one < other else 0


def sorting(sort: Sequence[Sort]) -> Any:
    """A key to sort places by."""
    return cmp_to_key(lambda one, other: compared(sort, one, other))
