"""The Observation that records one focal lesion into its sightings."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

from service.exam.evidence import Part, Sighting
from service.fhir import uris
from service.fhir.reading.coded import codings, extension

Json = dict[str, Any]
RECORD = (uris.ATTRIBUTE, "focal-lesion")


def is_lesion(resource: Json) -> bool:
    """Whether an Observation is the record of one focal lesion."""
    return any((c.system, c.code) == RECORD for c in codings(resource.get("code")))


def number(resource: Json) -> int:
    """The number of the lesion that a record is of; 0 while it has none."""
    return int(extension(resource, uris.X_LESION).get("valuePositiveInt", 0))


def body_structure(resource: Json) -> str:
    """The id of the BodyStructure that a record is of; "" while it names none."""
    references = (str(f.get("reference", "")) for f in resource.get("focus", []))
    return next((r.partition("/")[2] for r in references if r.startswith("BodyStructure/")), "")


def lesion_sightings(resource: Json, read: Callable[..., Sighting]) -> Iterator[Sighting]:
    """The record as a whole and each diameter in it. read: an element of an Observation into a sighting."""
    which = str(number(resource))
    parts = tuple(_part(c) for c in resource.get("component", []) if _said(c))
    yield replace(read(resource, resource), kind="lesion", which=which, parts=parts)
    for index, component in enumerate(resource.get("component", [])):
        if "valueQuantity" in component:
            yield replace(read(resource, component, part=index), kind="lesion-part", which=which)


def _said(component: Json) -> bool:
    return any(k.startswith("value") for k in component)


def _part(component: Json) -> Part:
    concept = component.get("valueCodeableConcept") or {}
    said = codings(concept)
    shown = concept.get("text") or next((c.display or c.code for c in said), "")
    return Part(codings(component.get("code")), said, str(component.get("valueString") or shown))
