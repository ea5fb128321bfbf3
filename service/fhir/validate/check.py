"""One resource -> all its faults: the compiled schema, then the rules no schema can see, then what it contains."""

from collections.abc import Iterator
from itertools import islice
from typing import Any

from service.basics.errors import Fault
from service.fhir import exact
from service.fhir.validate import contained, rules
from service.fhir.validate.compiled import validator
from service.fhir.validate.faults import explained

MOST = 200  # faults told of one resource: more help nobody, and cost time


def check(resource: Any, *, type_: str | None = None) -> list[Fault]:
    """Everything that R4 forbids in one resource, each with its FHIRPath; [] when it is valid.

    type_ is the type that is expected here, when one is. Bundles are checked with all that they hold."""
    if not isinstance(resource, dict):
        return [Fault("structure", "a resource is a JSON object", type_ or "")]
    kind = resource.get("resourceType")
    if not isinstance(kind, str) or validator(kind) is None:
        place = f"{type_ or 'Resource'}.resourceType"
        return [Fault("structure", "resourceType is needed and names a type of R4", place)]
    if type_ is not None and kind != type_:
        return [Fault("invalid", f"a resource of type {type_} is needed here", f"{kind}.resourceType")]
    text = exact.encode(resource)
    faults = _faults(kind, resource, text)
    if b'"#' in text or "contained" in resource:
        faults += contained.broken(resource)
    return list(islice(dict.fromkeys(faults), MOST))


def _faults(kind: str, resource: dict[str, Any], text: bytes) -> list[Fault]:
    """The faults of a resource that may itself be contained; text is its JSON."""
    found: list[Fault] = []
    compiled = validator(kind)
    held = {kind: resource}
    if compiled is not None and not compiled.is_valid(held):
        found += explained(kind, islice(compiled.iter_errors(held), MOST))
    found += rules.broken(resource, text)
    for at, inner in enumerate(_list(resource.get("contained"))):
        if _is_resource(inner):
            within = _faults(inner["resourceType"], inner, exact.encode(inner))
            found += (fault.inside(f"{kind}.contained[{at}]") for fault in within)
    for place, inner in _places(resource):
        if len(found) >= MOST:
            break
        if _is_resource(inner):
            found += (fault.inside(place) for fault in check(inner))
    return found


def _is_resource(value: Any) -> bool:
    """Whether there is something to check; where not, the schema of the holder has told."""
    return isinstance(value, dict) and isinstance(value.get("resourceType"), str)


def _places(resource: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Where a resource carries other resources, besides contained ones."""
    if resource["resourceType"] == "Bundle":
        for at, entry in enumerate(_list(resource.get("entry"))):
            if isinstance(entry, dict):
                yield f"Bundle.entry[{at}].resource", entry.get("resource")
                yield f"Bundle.entry[{at}].response.outcome", _dict(entry.get("response")).get("outcome")
    if resource["resourceType"] == "Parameters":
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
