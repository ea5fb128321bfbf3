"""Orders of a record system that does not exist: an invented animal, its owner, who asks, and what is asked."""

import itertools
import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from service.fhir import uris

Json = dict[str, Any]
RECORDS = "https://records.example"
ANIMALS, PEOPLE, ORDERS = f"{RECORDS}/animal", f"{RECORDS}/person", f"{RECORDS}/order"
CLINICS, VETS, ROLES = f"{RECORDS}/clinic", f"{RECORDS}/vet", f"{RECORDS}/role"
SPECIES = {"dog": "448771007", "cat": "448169003"}  # SNOMED CT, DICOM PS3.16 CID 7454
RABBIT = "88818001"  # SNOMED CT, from memory; only has to be neither dog nor cat
_numbers = itertools.count(1)


def number(prefix: str) -> str:
    """A business number that nobody else has."""
    return f"{prefix}-{next(_numbers)}-{uuid.uuid4().hex[:8]}"


def concept(system: str, code: str) -> Json:
    """A CodeableConcept of one coding."""
    return {"coding": [{"system": system, "code": code}]}


def patient(
    chip: str = "", *, species: str = "dog", sex: str = "female", neutered: str = "neutered", **more: Any
) -> Json:
    """An invented animal; "" leaves a part unsaid, species may be any SNOMED CT code."""
    parts: list[Json] = []
    if species:
        code = concept(uris.SCT, SPECIES.get(species, species))
        parts.append({"url": "species", "valueCodeableConcept": code})
    if neutered:
        parts.append({"url": "genderStatus", "valueCodeableConcept": concept(uris.NEUTER, neutered)})
    return {
        "resourceType": "Patient",
        **({"extension": [{"url": uris.ANIMAL, "extension": parts}]} if parts else {}),
        "identifier": [{"system": ANIMALS, "value": chip or number("chip")}],
        "name": [{"text": "Quillfeather"}],
        **({"gender": sex} if sex else {}),
        "birthDate": "2019-04-01",
        **more,
    }


def placer(value: str) -> Json:
    """A placer number of the record system."""
    return {"type": concept(uris.IDENTIFIER_TYPE, "PLAC"), "system": ORDERS, "value": value}


def request(subject: str, *, service: str = "full", placed: str = "", **more: Any) -> Json:
    """A ServiceRequest; subject is a reference, service one of our own order codes."""
    return {
        "resourceType": "ServiceRequest",
        "identifier": [placer(placed or number("order"))],
        "status": "active",
        "intent": "order",
        "priority": "urgent",
        "code": concept(uris.SERVICE, service),
        "subject": {"reference": subject},
        "authoredOn": "2026-11-25T08:30:00+01:00",
        "reasonCode": [{"text": "Vomiting for three days"}],
        "note": [{"text": "Is there an obstruction?"}],
        **more,
    }


def bundle(animal: Json | None = None, *, owners: int = 1, **order: Any) -> Json:
    """The whole order as a transaction: animal, owner, clinic, vet, role, and the ServiceRequest that names them.

    order: as for `request`. Everything but the request is created only when its number is not known yet."""
    dog, vet, clinic, role = (f"urn:uuid:{uuid.uuid4()}" for _ in range(4))
    people = [_owner(dog) for _ in range(owners)]
    asked = {"requester": {"reference": role, "display": "Dr R. Ferrer, Invented Clinic"}, **order}
    parts = [
        (dog, animal or patient()),
        *((f"urn:uuid:{uuid.uuid4()}", person) for person in people),
        (clinic, _known("Organization", CLINICS, name="Invented Clinic")),
        (vet, _known("Practitioner", VETS, name=[{"text": "Dr R. Ferrer"}])),
        (role, _known("PractitionerRole", ROLES, practitioner={"reference": vet}, organization={"reference": clinic})),
    ]
    entries = [entry(resource, full_url=url, once=True) for url, resource in parts]
    return transaction([*entries, entry(request(dog, **asked), full_url=f"urn:uuid:{uuid.uuid4()}")])


def transaction(entries: Iterable[Json]) -> Json:
    """A transaction Bundle."""
    return {"resourceType": "Bundle", "type": "transaction", "entry": list(entries)}


def entry(resource: Json, *, full_url: str = "", once: bool = False) -> Json:
    """An entry that posts the resource; with once, unless its first identifier is known."""
    asked = {"method": "POST", "url": resource["resourceType"]}
    if once:
        first = resource["identifier"][0]
        asked["ifNoneExist"] = f"identifier={escaped(first['system'])}|{escaped(first['value'])}"
    return {**({"fullUrl": full_url} if full_url else {}), "resource": resource, "request": asked}


def escaped(text: str) -> str:
    """A part of a token in a query: R4's own escapes, then those of a URL."""
    for mark in "\\|,$":
        text = text.replace(mark, f"\\{mark}")
    return "".join(c if c.isalnum() or c in ":/.-_~" else f"%{c.encode().hex()}" for c in text)


def parameters(values: Mapping[str, Any] | None = None, **more: Any) -> Json:
    """A Parameters resource of plain values; a list gives a name several times, a dict is a resource."""
    kinds = {bool: "valueBoolean", int: "valuePositiveInt", str: "valueString", dict: "resource"}
    parts = [
        {"name": name, kinds[type(value)]: value}
        for name, given in {**(values or {}), **more}.items()
        for value in (given if isinstance(given, list) else [given])
    ]
    return {"resourceType": "Parameters", **({"parameter": parts} if parts else {})}


def _owner(animal: str) -> Json:
    return _known(
        "RelatedPerson",
        PEOPLE,
        patient={"reference": animal},
        relationship=[concept(uris.ROLE, "OWN")],
        name=[{"text": "R. Ownwell"}],
    )


def _known(type_: str, system: str, **more: Any) -> Json:
    return {"resourceType": type_, "identifier": [{"system": system, "value": number(type_.lower())}], **more}
