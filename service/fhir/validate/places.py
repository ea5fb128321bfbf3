"""A path through JSON -> the FHIRPath of the element: Observation.component[0].value."""

from collections.abc import Iterable
from typing import Any

from service.fhir.validate.compiled import definitions

Step = str | int


def fhirpath(type_: str, path: Iterable[Step]) -> str:
    """The element's path: indices in brackets, choices without their type, a primitive's twin as itself."""
    place, at = type_, type_
    for step in path:
        if isinstance(step, int):
            place += f"[{step}]"
            continue
        schema = definitions().get(at, {})
        name = step.removeprefix("_")
        place += f".{_element(schema, name)}"
        at = _next(schema.get("properties", {}).get(name, {}))
    return place


def _element(schema: dict[str, Any], name: str) -> str:
    for base in schema.get("choices", ()):
        if name.startswith(base) and name[len(base) : len(base) + 1].isupper() and name in schema["properties"]:
            return str(base)
    return name


def _next(node: dict[str, Any]) -> str:
    """The definition that a property leads to."""
    if "items" in node:
        return _next(node["items"])
    if "anyOf" in node:
        return _next(node["anyOf"][0])
    name = str(node.get("$ref", "")).rpartition("/")[2]
    return "Reference" if name.startswith("Reference.") else name


def kind_of(type_: str, path: Iterable[Step]) -> str:
    """The FHIR type of the element at a path, "" when R4 has none there."""
    at = type_
    for step in path:
        if isinstance(step, str):
            at = _next(definitions().get(at, {}).get("properties", {}).get(step.removeprefix("_"), {}))
    return at
