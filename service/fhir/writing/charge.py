"""A Charge into its ChargeItem, and the ChargeItem as it goes from state to state."""

from typing import Any

from service.billing.charge import Charge
from service.billing.exam_facts import ExamFacts
from service.billing.situation import Situation
from service.fhir import uris

Json = dict[str, Any]


def charge_item(charge: Charge, *, exam: str, procedure: str, animal: str, now: str, requester: str = "") -> Json:
    """A new ChargeItem. exam, procedure and animal are ids of Task, Procedure and Patient; now an instant.

    No price is on it: the tariff has it, and the invoice line keeps what was charged."""
    coding = {"system": uris.CHARGE, "code": charge.identity.code, "display": charge.text}
    item: Json = {
        "resourceType": "ChargeItem",
        "id": charge.id,
        "identifier": [{"system": uris.CHARGE_ID, "value": charge.identity.text}],
        "status": charge.status,
        "code": {"coding": [coding], "text": charge.text},
        "subject": {"reference": f"Patient/{animal}"},
        "performingOrganization": organization(charge.identity.organization),
        "quantity": {"value": charge.quantity},
        "enteredDate": now,
        "service": [{"reference": f"Procedure/{procedure}"}],
        "supportingInformation": [{"reference": f"Task/{exam}"}],
    }
    if requester.startswith("Organization/"):
        item["requestingOrganization"] = {"reference": requester}
    return item


def organization(slug: str, name: str = "") -> Json:
    """A logical reference to an organisation of this service, by its slug."""
    reference: Json = {"type": "Organization", "identifier": {"system": uris.ORGANIZATION, "value": slug}}
    return {**reference, "display": name} if name else reference


def moved(item: Json, status: str, *, now: str, why: str = "") -> Json:
    """The ChargeItem in another state; `why` is added to its notes, none is taken away."""
    after = {**item, "status": status}
    if why:
        after["note"] = [*item.get("note", []), {"time": now, "text": why}]
    return after


def performed(item: Json, facts: ExamFacts, situation: Situation | None = None) -> Json:
    """The ChargeItem with when its service began, who performed it, and what its price depends on, as far as known."""
    after = dict(item)
    if situation is not None:
        kept = [e for e in item.get("extension", []) if e["url"] != uris.X_SITUATION]
        after["extension"] = [*kept, {"url": uris.X_SITUATION, "extension": _situation(situation)}]
    if facts.started:
        after["occurrenceDateTime"] = facts.started
    parts = {"reference": facts.performer, "display": facts.performer_name}
    actor = {key: text for key, text in parts.items() if text}
    if actor:
        after["performer"] = [{"actor": actor}]
    return after


def _situation(at: Situation) -> list[Json]:
    """What the applicability of a ChargeItemDefinition asks for."""
    hours = "" if at.closed is None else "out" if at.closed else "in"
    codes = {"scope": at.scope, "species": at.species, "priority": at.priority, "hours": hours, "grade": at.grade}
    parts: list[Json] = [{"url": url, "valueCode": code} for url, code in codes.items() if code]
    if at.weight_kg is not None:
        parts.append({"url": "weight", "valueDecimal": at.weight_kg})
    return parts + [{"url": "requester", "valueString": one} for one in at.requesters]
