"""A resource -> each of its objects with the path that leads to it, resources inside it left out."""

from collections.abc import Iterator
from typing import Any

Path = tuple[str | int, ...]
Node = tuple[Path, dict[str, Any]]


def walk(resource: dict[str, Any]) -> Iterator[Node]:
    """(path, object) for every object, the resource itself first."""
    todo: list[tuple[Path, Any]] = [((), resource)]
    while todo:
        path, value = todo.pop()
        if isinstance(value, list):
            todo += [((*path, at), item) for at, item in reversed(list(enumerate(value)))]
        elif isinstance(value, dict) and not (path and "resourceType" in value):
            yield path, value
            todo += [((*path, name), item) for name, item in reversed(value.items()) if isinstance(item, dict | list)]
