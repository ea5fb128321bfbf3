"""Referral Tasks, performers, consents, and what tells an animal and its owners, read from resources."""

from collections.abc import Iterable, Mapping
from typing import Any

from service.basics.agreement import ANIMAL, REFERRAL
from service.exam.right_animal import Told
from service.fhir import uris
from service.fhir.reading.names import name_of

Json = dict[str, Any]
CHIP = "MCN"  # of HL7's table 0203: a microchip number
PERMITS = frozenset({"", "permit"})


def kind(task: Json) -> str:
    """REFERRAL or ANIMAL for the Tasks of a referral, "" for any other."""
    codes = {c.get("code") for c in task.get("code", {}).get("coding", []) if c.get("system") == uris.TASK_CODE}
    return next((one for one in (REFERRAL, ANIMAL) if one in codes), "")


def state(task: Json) -> str:
    """How a referral stands: a code of uris.REFERRAL_STATE."""
    found = task.get("businessStatus", {}).get("coding", [])
    return next((str(c["code"]) for c in found if c.get("system") == uris.REFERRAL_STATE), "")


def number(task: Json) -> str:
    """What a referral is known by on both sides."""
    return _value(task, uris.REFERRAL)


def told_as(task: Json) -> str:
    """Reference to the animal as the clinic told of it."""
    for one in task.get("input", []):
        if _code(one) == "animal":
            return str(one.get("valueReference", {}).get("reference", ""))
    return ""


def agreement_of(task: Json) -> str:
    """The id of the agreement that a referral is under."""
    return next((str(one.get("valueString", "")) for one in task.get("input", []) if _code(one) == "agreement"), "")


def organizations(references: Iterable[Json], found: Mapping[str, Json]) -> list[str]:
    """Slugs of the organisations of this service that References name, by identifier or by an Organization in found."""
    slugs = []
    for one in references:
        own = _listed(one.get("identifier")) or _listed(found.get(str(one.get("reference", "")), {}).get("identifier"))
        slugs += [str(i["value"]) for i in own if i.get("system") == uris.ORGANIZATION and i.get("value")]
    return slugs


def consents(resources: Iterable[Json], *, day: str) -> bool:
    """Whether one of the Consents permits sharing on a day: active, of scope patient-privacy, not a denial."""
    return any(_permits(one, day) for one in resources)


def there(resource: Json) -> str:
    """The id that a resource copied from elsewhere has where it came from; "" for one of our own."""
    return _value(resource, uris.ID)


def told(patient: Json, owners: Iterable[Json], species: str) -> Told:
    """What tells an animal and its owners."""
    people = list(owners)
    contacts = [str(t.get("value", "")) for o in people for t in o.get("telecom", [])]
    contacts += [_address(a) for o in people for a in o.get("address", [])]
    numbers = ((str(i["system"]), str(i["value"])) for o in people for i in o.get("identifier", []) if _full(i))
    return Told(
        reference=f"Patient/{patient['id']}",
        species=species,
        name=_folded(name_of(patient)),
        chips=chips(patient),
        owner_numbers=frozenset(one for one in numbers if one[0] != uris.ID),
        owner_names=frozenset(n for o in people if (n := _folded(name_of(o)))),
        contacts=frozenset(c for one in contacts if (c := _plain(one))),
    )


def chips(patient: Json) -> frozenset[str]:
    """The microchip numbers of an animal, without blanks."""
    found = (i for i in patient.get("identifier", []) if i.get("value") and i.get("use") != "old")
    return frozenset("".join(str(i["value"]).split()) for i in found if _is_chip(i))


def survivor(patient: Json) -> str:
    """Reference to the animal that a record was replaced by; "" while it stands."""
    links = [one for one in patient.get("link", []) if one.get("type") == "replaced-by"]
    return str(links[0].get("other", {}).get("reference", "")) if links else ""


def _is_chip(identifier: Json) -> bool:
    codings = identifier.get("type", {}).get("coding", [])
    return any(c.get("code") == CHIP and c.get("system") == uris.IDENTIFIER_TYPE for c in codings)


def _permits(consent: Json, day: str) -> bool:
    scope = {c.get("code") for c in consent.get("scope", {}).get("coding", [])}
    provision = consent.get("provision", {})
    period = provision.get("period", {})
    begins, ends = str(period.get("start", ""))[:10], str(period.get("end", ""))[:10]
    within = (not begins or begins <= day) and (not ends or day <= ends)
    allowed = str(provision.get("type", "")) in PERMITS
    return consent.get("status") == "active" and "patient-privacy" in scope and allowed and within


def _code(one: Json) -> str:
    codings = one.get("type", {}).get("coding", [])
    return next((str(c["code"]) for c in codings if c.get("system") == uris.REFERRAL_STATE), "")


def _value(resource: Json, system: str) -> str:
    own = _listed(resource.get("identifier"))
    return next((str(i.get("value", "")) for i in own if i.get("system") == system), "")


def _full(identifier: Json) -> bool:
    return bool(identifier.get("system") and identifier.get("value"))


def _listed(value: Any) -> list[Json]:
    return value if isinstance(value, list) else [value] if value else []


def _address(address: Json) -> str:
    parts = [*address.get("line", []), address.get("postalCode", ""), address.get("city", "")]
    return " ".join(str(part) for part in parts) or str(address.get("text", ""))


def _folded(text: str) -> str:
    return " ".join(text.casefold().split())


def _plain(text: str) -> str:
    return "".join(letter for letter in text.casefold() if letter.isalnum())
