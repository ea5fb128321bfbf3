"""An invented exam as the delivery Bundle that a record system gets: finding, report, charge, invoice."""

from datetime import UTC, datetime
from typing import Any

from service.fhir import exact, uris
from service.fhir.writing.delivery import bundle

NOW = datetime(2026, 11, 25, 13, 4, 29, tzinfo=UTC)
CHIPS, ORDERS = "https://records.example/animal", "https://records.example/order"
REPORT, LIVER, CHARGE, INVOICE = (f"019abcde-0000-7000-8000-00000000000{n}" for n in range(4))

PATIENT = {
    "resourceType": "Patient",
    "id": "our-animal",
    "identifier": [{"system": CHIPS, "value": "A-1"}],
    "name": [{"text": "Plainly Invented"}],
    "extension": [
        {
            "url": uris.ANIMAL,
            "extension": [
                {"url": "species", "valueCodeableConcept": {"coding": [{"system": uris.SCT, "code": "448771007"}]}}
            ],
        }
    ],
}
ORDER = {
    "resourceType": "ServiceRequest",
    "id": "our-order",
    "identifier": [{"system": ORDERS, "value": "O-1"}],
    "status": "active",
    "intent": "order",
    "code": {"text": "abdominal ultrasound"},
    "subject": {"reference": "Patient/our-animal"},
}


def without_id(resource: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in resource.items() if key != "id"}


def finished(*, status: str = "final", animal: dict[str, Any] = PATIENT) -> bytes:
    """The Bundle of a finished exam: a finding, its report, a charge and the invoice."""
    subject = {"reference": f"Patient/{animal['id']}"}
    liver = {
        "resourceType": "Observation",
        "id": LIVER,
        "status": "final",
        "basedOn": [{"reference": "ServiceRequest/our-order"}],
        "code": {"text": "wall thickness"},
        "subject": subject,
        "valueQuantity": {"value": exact.decode(b"0.40"), "unit": "mm", "system": uris.UCUM, "code": "mm"},
    }
    report = {
        "resourceType": "DiagnosticReport",
        "id": REPORT,
        "status": status,
        "basedOn": [{"reference": "ServiceRequest/our-order"}],
        "code": {"text": "abdominal ultrasound"},
        "subject": subject,
        "result": [{"reference": f"Observation/{LIVER}"}],
        "conclusion": "Nothing but an example.",
    }
    charge = {
        "resourceType": "ChargeItem",
        "id": CHARGE,
        "status": "billed",
        "code": {"text": "full abdominal survey"},
        "subject": subject,
        "service": [{"reference": f"DiagnosticReport/{REPORT}"}],
    }
    invoice = {
        "resourceType": "Invoice",
        "id": INVOICE,
        "status": "issued",
        "subject": subject,
        "lineItem": [{"chargeItemReference": {"reference": f"ChargeItem/{CHARGE}"}}],
        "totalNet": {"value": exact.decode(b"120.00"), "currency": "EUR"},
    }
    theirs = [animal, {**ORDER, "subject": subject}]
    return exact.encode(
        bundle([liver, report, charge, invoice], theirs=theirs, now=NOW, identifier="exam-1:finished:1")
    )
