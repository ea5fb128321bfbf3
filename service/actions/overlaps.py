"""Entries of one transaction that speak of one resource: refused, for their order must never matter."""

from collections.abc import Iterable, Sequence
from typing import Any

from service.actions.conditions import criteria_of
from service.actions.pending import Pending
from service.basics.errors import Fault, Invalid

Json = dict[str, Any]


def same_condition(waiting: Sequence[Pending]) -> None:
    """Raise Invalid when two entries have one condition: only one of them could find what the other has made."""
    _once((f"{p.entry.type}?{criteria}", p) for p in waiting if (criteria := criteria_of(p.entry)))


def same_resource(waiting: Sequence[Pending]) -> None:
    """Raise Invalid when two entries write or delete one resource."""
    _once((p.reference, p) for p in waiting if p.writes or p.deletes)


def found_within(waiting: Sequence[Pending]) -> None:
    """Raise Invalid when the condition of one entry asks for an identifier that another one is about to write."""
    asked = {(p.entry.type, criteria_of(p.entry)): p for p in waiting if p.entry.method in {"POST", "PUT"}}
    asked = {key: p for key, p in asked.items() if key[1]}
    if not asked or len(waiting) < 2:
        return
    for one in waiting:
        if not one.writes:
            continue
        for identifier in one.identifiers:
            for criteria in _criteria(identifier):
                other = asked.get((one.entry.type, criteria))
                if other is not None and other is not one and other.reference != one.reference:
                    raise _overlap(f"{one.entry.type}?{criteria}", one, other)


def _criteria(identifier: Json) -> Iterable[str]:
    value, system = identifier.get("value"), identifier.get("system")
    return (f"identifier={value}", f"identifier={system or ''}|{value}") if value else ()


def _once(named: Iterable[tuple[str, Pending]]) -> None:
    seen: dict[str, Pending] = {}
    for name, one in named:
        if name in seen:
            raise _overlap(name, one, seen[name])
        seen[name] = one


def _overlap(name: str, one: Pending, other: Pending) -> Invalid:
    text = f"{name} is spoken of by {other.entry.place} too; a transaction writes each resource once."
    return Invalid(Fault("invalid", text, one.entry.place))
