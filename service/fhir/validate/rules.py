"""The rules of R4 that no schema can see -> faults; each looks only where the text shows there is something to see."""

import re
from collections.abc import Callable, Iterator
from typing import Any

from service.basics.errors import Fault
from service.fhir.validate import bundles, narrative, of_type, shapes
from service.fhir.validate.walk import Node, walk

Rule = Callable[[str, list[Node]], Iterator[Fault]]

_WHOLE = re.compile(rb"\.0+[,}\]]")

# what the text must hold -> the rule that then looks at every object
_SIGNS: tuple[tuple[bytes, Rule], ...] = (
    (b'"end":', shapes.periods),
    (b'Range":{', shapes.ranges),
    (b"null", shapes.nulls),
    (rb"\u00", shapes.control_characters),
)


def broken(resource: dict[str, Any], text: bytes) -> list[Fault]:
    """Every such rule that the resource breaks; text is its JSON. What it holds is left to its own check."""
    kind = resource["resourceType"]
    if kind == "Bundle":
        return list(bundles.broken(resource))
    found: list[Fault] = list(of_type.RULES[kind](resource)) if kind in of_type.RULES else []
    if b'"div":' in text:
        found += narrative.broken(resource)
    rules = [rule for sign, rule in _SIGNS if sign in text]
    if b"E+" in text or _WHOLE.search(text):
        rules.append(shapes.whole_numbers)
    nodes = list(walk(resource)) if rules else []
    return found + [fault for rule in rules for fault in rule(kind, nodes)]
