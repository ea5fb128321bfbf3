"""Every object of a resource -> faults of data types: periods, ranges, nulls, characters, whole numbers."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from service.basics.errors import Fault
from service.fhir import moments
from service.fhir.validate.places import fhirpath, kind_of
from service.fhir.validate.walk import Node


def periods(kind: str, nodes: list[Node]) -> Iterator[Fault]:
    """per-1: a period starts before it ends; what overlaps by its precision is allowed."""
    for path, value in nodes:
        start, end = _moment(value, "start"), _moment(value, "end")
        if start and end and start[0] > end[1]:
            yield Fault("invariant", "per-1: the start is after the end", fhirpath(kind, path))


def _moment(value: dict[str, Any], name: str) -> moments.Range | None:
    text = value.get(name)
    return moments.of_text(text) if isinstance(text, str) else None


def ranges(kind: str, nodes: list[Node]) -> Iterator[Fault]:
    """rng-2: low is not above high, when both have the same unit."""
    for path, value in nodes:
        low, high = value.get("low"), value.get("high")
        if isinstance(low, dict) and isinstance(high, dict) and _unit(low) == _unit(high):
            first, last = low.get("value"), high.get("value")
            if isinstance(first, int | Decimal) and isinstance(last, int | Decimal) and first > last:
                yield Fault("invariant", "rng-2: low is above high", fhirpath(kind, path))


def _unit(quantity: dict[str, Any]) -> tuple[Any, Any]:
    return quantity.get("system"), quantity.get("code", quantity.get("unit"))


def nulls(kind: str, nodes: list[Node]) -> Iterator[Fault]:
    """A null in a list stands for a value that has only extensions: they must be there."""
    for path, value in nodes:
        for name, items in value.items():
            if isinstance(items, list) and None in items:
                yield from _lonely(value, name, kind=kind, path=path)


def _lonely(holder: dict[str, Any], name: str, *, kind: str, path: tuple[str | int, ...]) -> Iterator[Fault]:
    twin = name[1:] if name.startswith("_") else f"_{name}"
    others = holder.get(twin)
    others = others if isinstance(others, list) else []
    for at, item in enumerate(holder[name]):
        if item is None and (at >= len(others) or others[at] is None):
            yield Fault("structure", "null stands for nothing here", fhirpath(kind, (*path, name, at)))


def control_characters(kind: str, nodes: list[Node]) -> Iterator[Fault]:
    """Text holds no character below 32 but tab and line ends."""
    for path, value in nodes:
        for name, item in value.items():
            if any(_controlled(text) for text in (item if isinstance(item, list) else [item])):
                yield Fault("value", "text holds a control character", fhirpath(kind, (*path, name)))


def _controlled(text: Any) -> bool:
    return isinstance(text, str) and any(c < " " and c not in "\t\n\r" for c in text)


def whole_numbers(kind: str, nodes: list[Node]) -> Iterator[Fault]:
    """An integer is written without fraction or exponent, which a schema takes for the same."""
    for path, value in nodes:
        for name, item in value.items():
            if isinstance(item, Decimal) and kind_of(kind, (*path, name)) in ("integer", "positiveInt", "unsignedInt"):
                yield Fault("value", "a whole number has no fraction or exponent", fhirpath(kind, (*path, name)))
