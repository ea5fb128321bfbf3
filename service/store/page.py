"""One page of versions, as actions/ports.py asks for it."""

from dataclasses import dataclass
from typing import Protocol

from service.basics.stored import Stored
from service.store.session import Row


@dataclass(frozen=True, slots=True)
class Page:
    """The newest first unless asked otherwise; `after` is "" on the last page."""

    matches: tuple[Stored, ...]
    total: int | None
    after: str = ""


class Rows(Protocol):
    """Runs a statement for one organisation, which is its first value."""

    def __call__(self, sql: str, *params: object) -> list[Row]: ...
