"""Pieces of statements with their values, put together."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Sql:
    """A piece of a statement and its values."""

    text: str
    params: tuple[object, ...] = ()


def places(values: Sequence[object]) -> str:
    """As many places as there are values."""
    return ", ".join("?" * len(values))


def member(column: str, values: Sequence[object]) -> Sql:
    """The column is one of the values; of none it never is."""
    return Sql(f"{column} IN ({places(values)})", tuple(values)) if values else Sql("1 = 0")


def joined(pieces: Iterable[Sql], word: str, *, none: str) -> Sql:
    """The pieces in brackets with AND or OR between them; `none` when there are none."""
    kept = list(pieces)
    text = f" {word} ".join(f"({p.text})" for p in kept) or none
    return Sql(text, tuple(value for p in kept for value in p.params))


def any_of(pieces: Iterable[Sql]) -> Sql:
    """One of them holds."""
    return joined(pieces, "OR", none="1 = 0")


def all_of(pieces: Iterable[Sql]) -> Sql:
    """All of them hold."""
    return joined(pieces, "AND", none="1 = 1")


def bounds(column: str, low: int | None, high: int | None) -> Sql:
    """The column lies between, both inclusive, None is open."""
    if low is not None and low == high:
        return Sql(f"{column} = ?", (low,))
    pairs = ((f"{column} >= ?", low), (f"{column} <= ?", high))
    kept = [(text, value) for text, value in pairs if value is not None]
    return Sql(" AND ".join(text for text, _ in kept) or "1 = 1", tuple(value for _, value in kept))
