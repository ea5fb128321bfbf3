"""A valid resource -> what our own rules for practices and clinics forbid in it."""

from collections.abc import Iterator
from typing import Any

from service.basics.errors import Fault
from service.fhir import profiles

# Of what senders write; the other profiles are of what the service writes itself, and its actions keep to them.
SENT = frozenset({"animal", "measurement", "finding", "pre-authorisation"})


def profile(resource: dict[str, Any]) -> list[Fault]:
    """Every one of our rules that a resource breaks; it was checked before."""
    faults = list(_not_understood(resource))
    for url in profiles.known_by_sign(resource):
        if profiles.PROFILES[url].name in SENT:
            faults += profiles.against(resource, url)
    return list(dict.fromkeys(faults))


def _not_understood(resource: dict[str, Any]) -> Iterator[Fault]:
    """What may change the meaning of all the rest cannot be passed over."""
    kind = resource["resourceType"]
    for name in ("implicitRules", "modifierExtension"):
        if name in resource:
            yield Fault("not-supported", f"{name} may change the meaning and is not understood here", f"{kind}.{name}")
