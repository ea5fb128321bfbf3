"""The answer of an operation: named references and words as a Parameters resource."""

from collections.abc import Iterable
from typing import Any

Json = dict[str, Any]


def parameters(*, references: Iterable[tuple[str, str]] = (), words: Iterable[tuple[str, str]] = ()) -> Json:
    """Parameters with a valueReference for each (name, "Type/id") and a valueString for each (name, text)."""
    parts: list[Json] = [
        {"name": name, "valueReference": {"reference": target}} for name, target in references if target
    ]
    parts += [{"name": name, "valueString": text} for name, text in words if text]
    return {"resourceType": "Parameters", "parameter": parts}
