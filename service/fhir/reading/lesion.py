"""The Observation that records one focal lesion into its sightings, and into the lesion for people."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

from service.exam.evidence import Sighting
from service.exam.lesion import Lesion, Properties, part
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
    parts = tuple(codings(c.get("code")) for c in resource.get("component", []) if _said(c))
    yield replace(read(resource, resource), kind="lesion", which=which, parts=parts)
    for index, component in enumerate(resource.get("component", [])):
        if "valueQuantity" in component:
            yield replace(read(resource, component, part=index), kind="lesion-part", which=which)


def lesion(resource: Json, structure: str, rules: Properties) -> Lesion:
    """The lesion for people, digits as sent."""
    found = [(part(codings(c.get("code")), rules), c) for c in resource.get("component", [])]
    return Lesion(
        number=number(resource),
        structure=structure,
        place=next((_words(c) for key, c in found if key == "place"), ""),
        diameters=tuple(
            (key, str(c["valueQuantity"].get("value", "")), str(c["valueQuantity"].get("code", "")))
            for key, c in found
            if key.startswith("lesion-") and "valueQuantity" in c
        ),
        words=tuple((key, _words(c)) for key, c in found if key not in {"", "place"} and "valueQuantity" not in c),
        note=" ".join(str(n.get("text", "")) for n in resource.get("note", [])),
        source=f"Observation/{resource.get('id', '')}",
        at=str(resource.get("effectiveDateTime", "")),
    )


def _said(component: Json) -> bool:
    return any(k.startswith("value") for k in component)


def _words(component: Json) -> str:
    concept = component.get("valueCodeableConcept", {})
    coded = next((str(c.get("display") or c.get("code", "")) for c in concept.get("coding", [])), "")
    return str(component.get("valueString") or concept.get("text") or coded)
