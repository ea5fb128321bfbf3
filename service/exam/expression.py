"""A formula's text into exact arithmetic: + - * / and brackets over numbers, names, pi and a few functions."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction

_TOKEN = re.compile(r"\s*(?:(\d+(?:\.\d+)?)|([a-z][a-z_]*)|([-+*/(),]))")
PI = Fraction("3.14159265358979323846264338327950288419716939937511")
Values = Mapping[str, Fraction]
_Node = Callable[[Values], Fraction]
_DEEP = 20  # brackets within brackets


@dataclass(frozen=True, slots=True)
class Expression:
    """A formula that was read. names are what it needs, in the order in which it names them."""

    text: str
    names: tuple[str, ...]
    _node: _Node

    def of(self, values: Values) -> Fraction:
        """The exact result. Raises ZeroDivisionError where it divides by nothing."""
        return self._node(values)


def read(text: str) -> Expression:
    """The formula of a text; raises ValueError saying what cannot be read."""
    reading = _Reading(_tokens(text))
    node = reading.sum()
    if reading.left():
        raise ValueError(f'"{reading.take()}" is not expected')
    return Expression(text, tuple(dict.fromkeys(reading.names)), node)


def pocket(depth: Fraction, small: Fraction) -> Fraction:
    """The score of the fluid at one site: 0 for none, a half up to the depth that still is a small pocket, else 1."""
    if depth <= 0:
        return Fraction(0)
    return Fraction(1, 2) if depth <= small else Fraction(1)


_FUNCTIONS: Mapping[str, tuple[int, Callable[..., Fraction]]] = {"abs": (1, abs), "pocket": (2, pocket)}


def _tokens(text: str) -> list[str]:
    found, place = [], 0
    stripped = text.rstrip()
    while place < len(stripped):
        match = _TOKEN.match(stripped, place)
        if match is None:
            raise ValueError(f'"{stripped[place:]}" cannot be read')
        found.append(match[match.lastindex or 0])
        place = match.end()
    return found


class _Reading:
    """Reads the tokens from left to right; products bind before sums."""

    def __init__(self, tokens: list[str]) -> None:
        self.names: list[str] = []
        self._tokens, self._place, self._depth = tokens, 0, 0

    def left(self) -> str:
        """The next token, "" at the end."""
        return self._tokens[self._place] if self._place < len(self._tokens) else ""

    def take(self, wanted: str = "") -> str:
        """The next token, which must be the one wanted."""
        found = self.left()
        if not found or (wanted and found != wanted):
            raise ValueError(f'"{wanted or "a number or name"}" is missing')
        self._place += 1
        return found

    def sum(self) -> _Node:
        """A sum or difference of products."""
        self._depth += 1
        if self._depth > _DEEP:
            raise ValueError("the brackets are too deep")
        node = self._product()
        while self.left() in ("+", "-"):
            node = _joined(self.take(), node, self._product())
        self._depth -= 1
        return node

    def _product(self) -> _Node:
        node = self._one()
        while self.left() in ("*", "/"):
            node = _joined(self.take(), node, self._one())
        return node

    def _one(self) -> _Node:
        token = self.take()
        if token == "(":
            return self._inside()
        if token[0].isdigit():
            number = Fraction(token)
            return lambda values: number
        if not token[0].isalpha():
            raise ValueError(f'"{token}" is not expected')
        if token == "pi":
            return lambda values: PI
        if token in _FUNCTIONS:
            return self._function(token)
        self.names.append(token)
        return lambda values: values[token]

    def _inside(self) -> _Node:
        node = self.sum()
        self.take(")")
        return node

    def _function(self, name: str) -> _Node:
        wanted, function = _FUNCTIONS[name]
        self.take("(")
        given = [self.sum()]
        while self.left() == ",":
            self.take(",")
            given.append(self.sum())
        self.take(")")
        if len(given) != wanted:
            raise ValueError(f"{name} takes {wanted} values, not {len(given)}")
        return lambda values: function(*(node(values) for node in given))


def _joined(sign: str, one: _Node, other: _Node) -> _Node:
    if sign == "+":
        return lambda values: one(values) + other(values)
    if sign == "-":
        return lambda values: one(values) - other(values)
    if sign == "*":
        return lambda values: one(values) * other(values)
    return lambda values: one(values) / other(values)
