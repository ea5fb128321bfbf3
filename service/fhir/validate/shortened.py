"""A resource with very long lists -> a copy with their beginnings, enough to tell what is wrong in each of them."""

from collections.abc import Iterator
from itertools import islice
from typing import Any

from jsonschema_rs import ValidationError

MOST = 200  # faults told of one resource: more help nobody, and cost time
_TAKEN = 500  # values after which lists take no more


def errors(compiled: Any, value: Any, text: bytes) -> Iterator[ValidationError]:
    """What the schema finds wrong in a value that it refuses: up to MOST errors, at least one. text is its JSON."""
    if text.count(b",") <= _TAKEN:
        yield from islice(compiled.iter_errors(value), MOST)
        return
    found = list(islice(compiled.iter_errors(_Beginning().of(value)), MOST))
    if not found:  # what is wrong stands further behind: the first of it must do
        found = list(_first(compiled, value))
    yield from found


def _first(compiled: Any, value: Any) -> Iterator[ValidationError]:
    try:
        compiled.validate(value)
    except ValidationError as error:
        yield error


class _Beginning:
    """Copies values until enough of them are taken; from then on a list ends with the first of its items."""

    def __init__(self) -> None:
        self._left = _TAKEN

    def of(self, value: Any) -> Any:
        self._left -= 1
        if isinstance(value, dict):
            return {key: self.of(one) for key, one in value.items()}
        if isinstance(value, list):
            return list(self._items(value))
        return value

    def _items(self, value: list[Any]) -> Iterator[Any]:
        for at, one in enumerate(value):
            if at and self._left <= 0:
                return
            yield self.of(one)
