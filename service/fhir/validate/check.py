"""One resource -> all its faults: the compiled schema, then the rules no schema can see, then what it contains."""

from collections.abc import Iterator
from itertools import islice
from typing import Any

from service.basics.errors import Fault
from service.fhir.validate.compiled import validator
from service.fhir.validate.faults import explained
from service.fhir.validate.rules import broken

MOST = 200  # faults told of one resource


def check(resource: Any, *, type_: str | None = None) -> list[Fault]:
    """Everything that R4 forbids in one resource, each with its FHIRPath; [] when it is valid.

    type_ is the type that is expected here, when one is. Bundles are checked with all that they hold."""
    if not isinstance(resource, dict):
        return [Fault("structure", "a resource is a JSON object", type_ or "")]
    kind = resource.get("resourceType")
    compiled = validator(kind) if isinstance(kind, str) else None
    if not isinstance(kind, str) or compiled is None:
        return [
            Fault("structure", "resourceType is needed and names a type of R4", f"{type_ or 'Resource'}.resourceType")
        ]
    if type_ is not None and kind != type_:
        return [Fault("invalid", f"a resource of type {type_} is needed here", "resourceType")]
    held = {kind: resource}
    faults = [] if compiled.is_valid(held) else list(explained(kind, compiled.iter_errors(held)))
    faults += broken(resource)
    faults += _held(resource)
    return list(islice(dict.fromkeys(faults), MOST))


def _held(resource: dict[str, Any]) -> Iterator[Fault]:
    for place, inner in _places(resource):
        if isinstance(inner, dict) and isinstance(inner.get("resourceType"), str):  # else the schema has told
            yield from (fault.inside(place) for fault in check(inner))


def _places(resource: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Where a resource holds other resources."""
    kind = resource["resourceType"]
    for at, inner in enumerate(_list(resource.get("contained"))):
        yield f"{kind}.contained[{at}]", inner
    if kind == "Bundle":
        for at, entry in enumerate(_list(resource.get("entry"))):
            if isinstance(entry, dict):
                yield f"Bundle.entry[{at}].resource", entry.get("resource")
                yield f"Bundle.entry[{at}].response.outcome", _dict(entry.get("response")).get("outcome")
    if kind == "Parameters":
        yield from _parameters(resource.get("parameter"), "Parameters.parameter")


def _parameters(parameters: Any, place: str) -> Iterator[tuple[str, Any]]:
    for at, parameter in enumerate(_list(parameters)):
        if isinstance(parameter, dict):
            yield f"{place}[{at}].resource", parameter.get("resource")
            yield from _parameters(parameter.get("part"), f"{place}[{at}].part")


def _list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def _dict(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}
