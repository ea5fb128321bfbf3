"""One resource -> all its faults: the compiled schema, then the rules no schema can see, then what it contains."""

from collections.abc import Iterator, Mapping
from itertools import islice
from typing import Any

from service.basics.errors import Fault
from service.fhir import exact
from service.fhir.validate import contained, links, rules
from service.fhir.validate.compiled import validator
from service.fhir.validate.faults import explained
from service.fhir.validate.links import full_urls, is_resource
from service.fhir.validate.shortened import MOST, errors


def check(resource: Any, *, type_: str | None = None) -> list[Fault]:
    """Everything that R4 forbids in one resource, each with its FHIRPath; [] when it is valid.

    type_ is the type that is expected here, when one is. Bundles are checked with all that they hold."""
    if not isinstance(resource, dict):
        return [Fault("structure", "a resource is a JSON object", type_ or "")]
    kind = resource.get("resourceType")
    if not isinstance(kind, str) or validator(kind) is None:
        return [_unknown(type_ or "Resource")]
    if type_ is not None and kind != type_:
        return [Fault("invalid", f"a resource of type {type_} is needed here", f"{kind}.resourceType")]
    return list(islice(dict.fromkeys(_told(kind, resource, {})), MOST))


def _told(kind: str, resource: dict[str, Any], held: Mapping[str, str]) -> list[Fault]:
    """The faults of a resource that is not contained; held: what the Bundle around it has, by fullUrl."""
    text = exact.encode(resource)
    faults = _faults(kind, resource, text)
    if b'"#' in text or "contained" in resource:
        faults += islice(contained.broken(resource), MOST)
    faults += islice(links.misled(resource, text), MOST)
    faults += islice(links.between(resource, text, held), MOST)
    return faults


def _faults(kind: str, resource: dict[str, Any], text: bytes) -> list[Fault]:
    """The faults of a resource that may itself be contained; text is its JSON."""
    found: list[Fault] = []
    compiled = validator(kind)
    if compiled is not None and not compiled.is_valid({kind: resource}):
        found += explained(kind, errors(compiled, {kind: resource}, text))
    found += rules.broken(resource, text)
    for at, inner in enumerate(_list(resource.get("contained"))):
        if is_resource(inner) and len(found) < MOST:
            within = _faults(inner["resourceType"], inner, exact.encode(inner))
            found += (fault.inside(f"{kind}.contained[{at}]") for fault in within)
    held = full_urls(resource) if kind == "Bundle" else {}
    for place, inner in _places(resource):
        if len(found) >= MOST:
            break
        if is_resource(inner):
            found += (fault.inside(place) for fault in _of_held(inner, held))
    return found


def _of_held(inner: dict[str, Any], held: Mapping[str, str]) -> list[Fault]:
    """The faults of a resource that a Bundle or Parameters carries."""
    kind = inner["resourceType"]
    return [_unknown("Resource")] if validator(kind) is None else _told(kind, inner, held)


def _unknown(expected: str) -> Fault:
    return Fault("structure", "resourceType is needed and names a type of R4", f"{expected}.resourceType")


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
