"""What the readers of the store share: how one organisation's rows are asked for."""

from typing import Protocol

from service.store.session import Row


class Rows(Protocol):
    """Runs a statement for one organisation, which is its first value."""

    def __call__(self, sql: str, *params: object) -> list[Row]: ...
