"""What the readers of the store share: how one organisation's rows are asked for."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from service.store.session import Row


class Rows(Protocol):
    """Runs a statement for one organisation, which is its first value."""

    def __call__(self, sql: str, *params: object) -> list[Row]: ...


@dataclass(frozen=True, slots=True)
class Look:
    """How a search reads: rows of one organisation, and lines of the index, whose keys hold the organisation.

    steady: all statements see the same; inside a transaction that writes, PostgreSQL shows each what was committed."""

    rows: Rows
    marks: Callable[..., list[Row]]
    postgres: bool
    steady: bool = True
