"""A large value -> a copy with a part of what its lists hold, whose faults can be told as those of the whole."""

from itertools import islice
from typing import Any

_HEADS = 300  # members that the rest of an object keeps: no type of R4 has as many

Place = tuple[int, Any]
"""Where a copy goes on: the number of a member or item, and the place inside it or None."""


class Part:
    """One copy. What an earlier part began, or a later one goes into, is there with the first item of each list only:
    what R4 asks of an object as a whole can be judged once, where the object begins."""

    def __init__(self, value: Any, start: Place | None, *, size: int) -> None:
        self._left = size
        self._first: dict[int, int] = {}  # a copied list -> the number of its first item
        self._own: dict[int, bool] = {}  # a copied object or list -> whether it is judged in this part
        self._cut: set[int] = set()
        self.value, self.end = self._take(value, start)

    def _take(self, value: Any, start: Place | None) -> tuple[Any, Place | None]:
        """A copy from a place on, and where the next part begins."""
        self._left -= 1
        if isinstance(value, dict):
            return self._members(value, start)
        if isinstance(value, list):
            return self._items(value, start)
        return value, None

    def _members(self, value: dict[str, Any], start: Place | None) -> tuple[dict[str, Any], Place | None]:
        first, inner = start or (0, None)
        copy: dict[str, Any] = {}
        end: Place | None = None
        for at, (key, one) in enumerate(value.items()):
            if at < first or end is not None:
                if at < _HEADS or start is None:
                    copy[key] = self._head(one)
            elif self._left <= 0 and at > first:
                end = (at, None)
                copy[key] = self._head(one)
            else:
                copy[key], rest = self._take(one, inner if at == first else None)
                end = (at, rest) if rest else None
        self._own[id(copy)] = start is None
        return copy, end

    def _items(self, value: list[Any], start: Place | None) -> tuple[list[Any], Place | None]:
        first, inner = start or (0, None)
        copy: list[Any] = []
        end: Place | None = None
        while end is None and (at := first + len(copy)) < len(value):
            if self._left <= 0 and copy:
                end = (at, None)
            elif plain := self._plain(value, at):
                copy += plain
            else:
                one, rest = self._take(value[at], inner if at == first else None)
                copy.append(one)
                end = (at, rest) if rest else None
        self._first[id(copy)] = first
        self._own[id(copy)] = True
        if first or end:
            self._cut.add(id(copy))
        return copy, end

    def _plain(self, value: list[Any], at: int) -> list[Any]:
        """The next items as far as there is room, when none of them holds others."""
        if isinstance(value[at], dict | list):
            return []
        some = value[at : at + max(self._left, 0)]
        if not {dict, list}.isdisjoint(map(type, some)):
            return []
        self._left -= len(some)
        return some

    def _head(self, value: Any) -> Any:
        copy = value
        if isinstance(value, dict):
            copy = {key: self._head(one) for key, one in islice(value.items(), _HEADS)}
        elif isinstance(value, list):
            copy = [self._head(one) for one in value[:1]]
        else:
            return copy
        self._own[id(copy)] = False
        return copy

    def moved(self, path: list[Any]) -> list[Any]:
        """The path of an error in the copy as it is in the whole."""
        node, found = self.value, []
        for step in path:
            if isinstance(node, list):
                found.append(step + self._first.get(id(node), 0))
            else:
                found.append(step)
            node = _at(node, step)
        return found

    def judges(self, error: Any) -> bool:
        """Whether an error is of what this part holds, and not of how it was cut."""
        node, own = self.value, True
        for step in error.instance_path:
            node = _at(node, step)
            own = self._own.get(id(node), own)
        return own and not (error.kind.name == "contains" and id(node) in self._cut)


def _at(node: Any, step: Any) -> Any:
    if isinstance(node, dict):
        return node.get(step)
    return node[step] if isinstance(node, list) and isinstance(step, int) and step < len(node) else None
