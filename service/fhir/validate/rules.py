"""The rules of R4 that no schema can see -> faults; each looks only where the text shows there is something to see."""

import re
from collections.abc import Callable, Iterator
from typing import Any

from service.basics.errors import Fault
from service.fhir import exact
from service.fhir.validate import bundles, contained, of_type, shapes
from service.fhir.validate.walk import Nodes, walk

Rule = Callable[[Nodes], Iterator[Fault]]

_WHOLE = re.compile(rb"[0-9]\.0+[,}\]]|[0-9]E[+]?[0-9]")

# what the text must hold -> the rule that then looks at every element
_ELSEWHERE: tuple[tuple[bytes, Rule], ...] = (
    (b'"end":', shapes.periods),
    (b'Range":', shapes.ranges),
    (b'"div":', shapes.narratives),
    (b"null", shapes.nulls),
    (rb"\u00", shapes.control_characters),
)


def broken(resource: dict[str, Any]) -> list[Fault]:
    """Every such rule that the resource breaks; what it contains is left to its own check."""
    kind = resource["resourceType"]
    found: list[Fault] = list(of_type.RULES[kind](resource)) if kind in of_type.RULES else []
    if kind == "Bundle":
        return found + list(bundles.broken(resource))
    text = exact.encode(resource)
    rules = [rule for sign, rule in _ELSEWHERE if sign in text]
    if _WHOLE.search(text):
        rules.append(shapes.whole_numbers)
    if rules:
        nodes = list(walk(resource))
        found += [fault for rule in rules for fault in rule(nodes)]
    if b'"#' in text or "contained" in resource:
        found += contained.broken(resource)
    return found
