"""Our profiles of R4: as rows, as StructureDefinitions, and as checks."""

from collections.abc import Iterator
from typing import Any

from service.basics.errors import Fault
from service.fhir import uris
from service.fhir.profiles.billing import BILLING
from service.fhir.profiles.clinical import CLINICAL
from service.fhir.profiles.conform import broken
from service.fhir.profiles.extensions import EXTENSIONS
from service.fhir.profiles.rows import Own, Profile
from service.fhir.profiles.structure import extension, structure
from service.fhir.profiles.urgent import URGENT

PROFILES: dict[str, Profile] = {
    f"{uris.BASE}/StructureDefinition/{one.name}": one for one in (*CLINICAL, *URGENT, *BILLING)
}
OWN: dict[str, Own] = {one.url: one for one in EXTENSIONS}

_SIGNED: dict[str, list[tuple[str, Profile]]] = {
    type_: [(url, one) for url, one in PROFILES.items() if one.type == type_ and one.sign]
    for type_ in {one.type for one in PROFILES.values()}
}


def structure_definitions() -> Iterator[dict[str, Any]]:
    """Every StructureDefinition of ours, without meta: profiles, then extensions."""
    yield from (structure(url, profile) for url, profile in PROFILES.items())
    yield from (extension(own) for own in OWN.values())


def against(resource: dict[str, Any], url: str) -> list[Fault]:
    """What the profile of this canonical forbids in a valid resource of its type; KeyError when it is not ours."""
    return list(broken(resource, PROFILES[url]))


def known_by_sign(resource: dict[str, Any]) -> list[str]:
    """The canonicals of our profiles that a resource shows itself to be of."""
    return [url for url, one in _SIGNED.get(resource["resourceType"], ()) if _signed(resource, one)]


def _signed(resource: dict[str, Any], profile: Profile) -> bool:
    return all(any(part.items() <= one.items() for one in _list(resource, path)) for path, part in profile.sign)


def _list(resource: dict[str, Any], path: str) -> list[dict[str, Any]]:
    holder, _, last = path.rpartition(".")
    found = (resource.get(holder, {}) if holder else resource).get(last, [])
    return found if isinstance(found, list) else []
