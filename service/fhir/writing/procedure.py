"""The exam as performed: the Procedure that charges and the report hang on."""

from typing import Any

from service.exam.order import Order
from service.fhir import uris

Json = dict[str, Any]


def procedure(id_: str, order: Order) -> Json:
    """A Procedure in preparation for an accepted order."""
    coding = [
        {"system": c.system, "code": c.code, **({"display": c.display} if c.display else {})}
        for c in order.service.codes
    ]
    return {
        "resourceType": "Procedure",
        "id": id_,
        "identifier": [{"system": uris.ID, "value": id_}],
        "basedOn": [{"reference": f"ServiceRequest/{order.id}"}],
        "status": "preparation",
        "category": {"coding": [{"system": uris.SCT, "code": "363679005", "display": "Imaging"}]},
        "code": {"coding": coding[:1], "text": order.service.title},
        "subject": {"reference": f"Patient/{order.animal.id}"},
    }


def moved(resource: Json, status: str, *, start: str = "", end: str = "", reason: str = "", report: str = "") -> Json:
    """The Procedure in its next status, with its period, the reason it stopped and its report where they are known."""
    changed = {**resource, "status": status}
    if start:
        changed["performedPeriod"] = {"start": start, **({"end": end} if end else {})}
    if reason:
        changed["statusReason"] = {"text": reason}
    if report:
        changed["report"] = [{"reference": report}]
    return changed


def outcome(kind: str, reference: str) -> Json:
    """A Task.output that names what the exam led to: its report, invoice or credit."""
    return {"type": {"coding": [{"system": uris.ITEM, "code": kind}]}, "valueReference": {"reference": reference}}
