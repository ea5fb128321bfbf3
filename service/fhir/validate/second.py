"""A resource -> what the models of fhir.resources (R4B: there is no R4 package) would refuse in it."""

from collections.abc import Iterable
from typing import Any

from pydantic import ValidationError

from service.basics.errors import Fault
from service.fhir import exact, r4

LARGEST = 262_144  # bytes; a model costs sixty times the decoding
_MANY = 10_000  # commas; it lists every fault, a kilobyte each
_MOST = 20


def second_opinion(resource: dict[str, Any]) -> list[Fault]:
    """Their faults, told as theirs; [] when they take it, know no such type, or it is too large to ask them."""
    text = exact.encode(resource)
    if len(text) > LARGEST or text.count(b",") > _MANY:
        return []
    kind = str(resource.get("resourceType"))
    try:
        r4.model(kind).model_validate(resource)
    except KeyError:
        return []
    except ValidationError as refused:
        errors = refused.errors(include_url=False, include_input=False, include_context=False)
        return [_told(kind, error["loc"], error["type"]) for error in errors[:_MOST]]
    return []


def _told(kind: str, path: Iterable[str | int], why: str) -> Fault:
    place = kind + "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in path)
    return Fault("informational", f"A second validator (fhir.resources, R4B) would refuse this: {why}.", place)
