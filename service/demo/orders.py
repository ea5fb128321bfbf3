"""An invented case into what its record system holds of it, which is also the Bundle that places the order."""

import uuid
from typing import Any

from service.demo import invented
from service.demo.invented import Case
from service.fhir import uris

Json = dict[str, Any]


def order(case: Case, *, service: tuple[str, str] = (uris.LOINC, "24558-9")) -> Json:
    """The transaction: who asks, the animal, its owner, and the ServiceRequest that orders the exam."""
    held = [_clinic(), _vet(), _role(), _animal(case), _owner(case), _request(case, service)]
    return {"resourceType": "Bundle", "type": "transaction", "entry": [_entry(r) for r in held]}


def _entry(resource: Json) -> Json:
    """What is known already is found by its number (If-None-Exist); the order's own number is a claim of itself."""
    type_, number = resource["resourceType"], resource["identifier"][0]
    request = {"method": "POST", "url": type_}
    if type_ != "ServiceRequest":
        request["ifNoneExist"] = f"identifier={number['system']}|{number['value']}"
    return {"fullUrl": _link(type_, number["value"]), "resource": resource, "request": request}


def _link(type_: str, number: str) -> str:
    return f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, f'{invented.SYSTEM}/{type_}/{number}')}"


def _to(type_: str, number: str, display: str) -> Json:
    return {"reference": _link(type_, number), "display": display}


def _number(kind: str, value: str) -> list[Json]:
    return [{"system": f"{invented.SYSTEM}/{kind}", "value": value}]


def _clinic() -> Json:
    number = _number("clinics", "EX-CLINIC-7")
    return {"resourceType": "Organization", "identifier": number, "active": True, "name": invented.CLINIC}


def _vet() -> Json:
    number = _number("vets", "EX-VET-70")
    return {"resourceType": "Practitioner", "identifier": number, "name": [{"text": invented.REFERRING_VET}]}


def _role() -> Json:
    return {
        "resourceType": "PractitionerRole",
        "identifier": _number("roles", "EX-ROLE-70"),
        "practitioner": _to("Practitioner", "EX-VET-70", invented.REFERRING_VET),
        "organization": _to("Organization", "EX-CLINIC-7", invented.CLINIC),
    }


def _animal(case: Case) -> Json:
    system, code, words = case.species
    parts = [
        {"url": "species", "valueCodeableConcept": {"coding": [{"system": system, "code": code}], "text": words}},
        {"url": "breed", "valueCodeableConcept": {"text": case.breed}},
        {"url": "genderStatus", "valueCodeableConcept": {"coding": [{"system": uris.NEUTER, "code": "neutered"}]}},
    ]
    return {
        "resourceType": "Patient",
        "extension": [{"url": uris.ANIMAL, "extension": parts}],
        "identifier": _number("animals", f"EX-ANIMAL-{case.key}"),
        "name": [{"text": case.name}],
        "gender": case.gender,
        "birthDate": case.born,
    }


def _owner(case: Case) -> Json:
    return {
        "resourceType": "RelatedPerson",
        "identifier": _number("owners", f"EX-OWNER-{case.key}"),
        "patient": _to("Patient", f"EX-ANIMAL-{case.key}", case.name),
        "relationship": [{"coding": [{"system": uris.ROLE, "code": "OWN"}]}],
        "name": [{"text": case.owner}],
    }


def _request(case: Case, service: tuple[str, str]) -> Json:
    placer = {"coding": [{"system": uris.IDENTIFIER_TYPE, "code": "PLAC"}]}
    return {
        "resourceType": "ServiceRequest",
        "identifier": [{"type": placer, **_number("orders", case.order)[0]}],
        "status": "active",
        "intent": "order",
        "priority": case.priority,
        "code": {"coding": [{"system": service[0], "code": service[1]}]},
        "subject": _to("Patient", f"EX-ANIMAL-{case.key}", case.name),
        "requester": _to("PractitionerRole", "EX-ROLE-70", f"{invented.REFERRING_VET}, {invented.CLINIC}"),
        "reasonCode": [{"text": case.reason}],
        "note": [{"text": case.question}],
    }
