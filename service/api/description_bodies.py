"""What is sent, as OpenAPI describes it; the example of a type is the least that R4 asks of it, and is invented."""

from collections.abc import Mapping
from typing import Any

from service.api.offers import Offer
from service.fhir import patching

Json = dict[str, Any]
FHIR = "application/fhir+json"

_ANIMAL = {"display": "Bramble"}
_TEXT = {"text": "An invented example"}

_LEAST: Mapping[str, Json] = {
    "Account": {"status": "active"},
    "Appointment": {"status": "proposed", "participant": [{"actor": _ANIMAL, "status": "needs-action"}]},
    "Binary": {"contentType": "text/plain", "data": "aW52ZW50ZWQ="},
    "BodyStructure": {"patient": _ANIMAL},
    "ChargeItem": {"status": "planned", "code": _TEXT, "subject": _ANIMAL},
    "Communication": {"status": "completed"},
    "Composition": {
        "status": "preliminary",
        "type": _TEXT,
        "date": "2026-01-02",
        "author": [{"display": "Examiner"}],
        "title": "An invented example",
    },
    "Condition": {"subject": _ANIMAL},
    "Consent": {
        "status": "draft",
        "scope": _TEXT,
        "category": [_TEXT],
        "policyRule": _TEXT,
    },
    "Coverage": {"status": "active", "beneficiary": _ANIMAL, "payor": [{"display": "Owner"}]},
    "Device": {},
    "DiagnosticReport": {"status": "preliminary", "code": _TEXT},
    "DocumentReference": {"status": "current", "content": [{"attachment": {"title": "An invented example"}}]},
    "Encounter": {
        "status": "planned",
        "class": {"display": "A visit"},
    },
    "Endpoint": {
        "status": "off",
        "connectionType": {"display": "An invented example"},
        "payloadType": [_TEXT],
        "address": "mllp://records.example:2575",
    },
    "Flag": {"status": "active", "code": _TEXT, "subject": _ANIMAL},
    "ImagingStudy": {"status": "available", "subject": _ANIMAL},
    "Invoice": {"status": "draft"},
    "Location": {"name": "Room 1"},
    "Media": {"status": "completed", "content": {"contentType": "image/png"}},
    "Observation": {"status": "preliminary", "code": _TEXT, "valueQuantity": {"value": 7.25, "unit": "mm"}},
    "Organization": {"name": "Willow Lane Example Imaging"},
    "Patient": {"name": [{"text": "Bramble"}], "gender": "male", "birthDate": "2019-05-01"},
    "Practitioner": {"name": [{"text": "Examiner"}]},
    "PractitionerRole": {},
    "Procedure": {"status": "preparation", "subject": _ANIMAL},
    "Provenance": {
        "target": [{"display": "An invented example"}],
        "recorded": "2026-01-02T03:04:05Z",
        "agent": [{"who": {"display": "Examiner"}}],
    },
    "RelatedPerson": {"patient": _ANIMAL},
    "ServiceRequest": {"status": "draft", "intent": "order", "subject": _ANIMAL},
    "Specimen": {},
    "Subscription": {
        "status": "requested",
        "reason": "An invented example",
        "criteria": "DiagnosticReport?status=final",
        "channel": {"type": "message"},
    },
    "Task": {"status": "draft", "intent": "order"},
}

TRANSACTION: Json = {
    "resourceType": "Bundle",
    "type": "transaction",
    "entry": [
        {
            "fullUrl": "urn:uuid:00000000-0000-4000-8000-000000000001",
            "resource": {"resourceType": "Patient", "name": [{"text": "Bramble"}]},
            "request": {"method": "POST", "url": "Patient"},
        },
        {
            "resource": {
                "resourceType": "Observation",
                "status": "preliminary",
                "code": _TEXT,
                "subject": {"reference": "urn:uuid:00000000-0000-4000-8000-000000000001"},
            },
            "request": {"method": "POST", "url": "Observation"},
        },
    ],
}
_MORE = frozenset({"birthDate", "data", "gender", "name", "policyRule", "valueQuantity"})  # shown, not needed
PATCH_SHAPE: Json = {
    "type": "array",
    "minItems": 1,
    "items": {
        "type": "object",
        "required": ["op", "path"],
        "properties": {
            "op": {"enum": ["add", "remove", "replace", "move", "copy", "test"]},
            "path": {"type": "string", "pattern": "^(/.*)?$"},
            "from": {"type": "string", "pattern": "^(/.*)?$"},
            "value": True,
        },
    },
}
PATCH = [{"op": "add", "path": "/language", "value": "en"}]


def _example(type_: str) -> Json:
    """A resource of a type that can be written."""
    return {"resourceType": type_, **_LEAST[type_]}


def _shape(type_: str) -> Json:
    """The schema of a body of a type: what every one has, the rest as R4 defines it."""
    needed = {name: True for name in _LEAST[type_] if name not in _MORE}
    return {
        "type": "object",
        "required": ["resourceType", *needed],
        "properties": {"resourceType": {"const": type_}, **needed},
    }


def body(offer: Offer, type_: str) -> Json:
    """What is sent, with an example where one stands for itself."""
    if offer.body == "form":
        form = {"schema": {"type": "object"}, "example": {"_count": "5"}}
        return {"content": {"application/x-www-form-urlencoded": form}}
    if offer.body == "patch":
        patch = {"schema": {"$ref": "#/components/schemas/Patch"}, "example": PATCH}
        return {"required": True, "content": {patching.MEDIA: patch}}
    if offer.code in {"create", "update"} and type_:
        sent = {"schema": _shape(type_), "example": _example(type_)}
        return {"required": True, "content": {FHIR: sent}}
    name = {"bundle": "Bundle", "perhaps": "Parameters"}.get(offer.body, "Resource")
    content: Json = {FHIR: {"schema": {"$ref": f"#/components/schemas/{name}"}}}
    if offer.body == "bundle":
        content[FHIR]["example"] = TRANSACTION
    return {"required": offer.body != "perhaps", "content": content}
