"""A valid resource -> what our own rules for practices and clinics forbid in it."""

from collections.abc import Iterator
from typing import Any

from service.basics.errors import Fault
from service.fhir import uris


def profile(resource: dict[str, Any]) -> list[Fault]:
    """Every one of our rules that a resource breaks; it was checked before."""
    faults = list(_not_understood(resource))
    if resource["resourceType"] == "Patient":
        faults += _animal(resource)
    if resource["resourceType"] == "Observation":
        faults += _finding(resource)
    return faults


def _not_understood(resource: dict[str, Any]) -> Iterator[Fault]:
    """What may change the meaning of all the rest cannot be passed over."""
    kind = resource["resourceType"]
    for name in ("implicitRules", "modifierExtension"):
        if name in resource:
            yield Fault("not-supported", f"{name} may change the meaning and is not understood here", f"{kind}.{name}")


def _animal(patient: dict[str, Any]) -> Iterator[Fault]:
    place = (
        f"Patient.extension.where(url='{uris.ANIMAL}').extension.where(url='species')"  # where an order tells it too
    )
    for extension in patient.get("extension", ()):
        if extension["url"] != uris.ANIMAL:
            continue
        species = [part for part in extension.get("extension", ()) if part["url"] == "species"]
        if len(species) != 1:
            yield Fault("required", "an animal has exactly one species", place)
        elif not species[0].get("valueCodeableConcept", {}).get("coding"):
            yield Fault("required", "the species of an animal is coded", f"{place}.value")


def _finding(observation: dict[str, Any]) -> Iterator[Fault]:
    systems = {coding.get("system") for coding in observation["code"].get("coding", ())}
    if systems & {uris.ATTRIBUTE, uris.MEASURE} and not _has_site(observation):
        yield Fault("required", "a finding or measurement says where: bodySite is needed", "Observation.bodySite")
    quantity = observation.get("valueQuantity")
    if uris.MEASURE in systems and quantity is not None and not _in_ucum(quantity):
        yield Fault("required", f"a measurement has a unit of {uris.UCUM}", "Observation.value")


def _in_ucum(quantity: dict[str, Any]) -> bool:
    return quantity.get("system") == uris.UCUM and "code" in quantity


def _has_site(observation: dict[str, Any]) -> bool:
    site = observation.get("bodySite", {})
    return bool(site.get("coding") or site.get("text"))
