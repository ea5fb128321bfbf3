"""The codings of a concept and the extensions of an element, as values."""

from typing import Any

from service.basics.coding import Coding

Json = dict[str, Any]


def codings(concept: Json | None) -> tuple[Coding, ...]:
    """The codings of a CodeableConcept that have a code; none of a concept that is not there."""
    return tuple(coding(c) for c in concept.get("coding", []) if c.get("code")) if concept else ()


def coding(given: Json) -> Coding:
    """A Coding as sent."""
    return Coding(str(given.get("system", "")), str(given.get("code", "")), str(given.get("display", "")))


def extension(element: Json, url: str) -> Json:
    """The first extension of this url; an empty one when there is none."""
    found: Json = next((e for e in element.get("extension", []) if e.get("url") == url), {})
    return found
