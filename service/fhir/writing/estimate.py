"""An estimate into a draft Invoice, and the consent to it into a Consent."""

from typing import Any

from service.basics.money import Money
from service.billing.invoice import Invoice
from service.billing.invoice_sheet import sheet
from service.billing.invoice_words import Words
from service.billing.plain_figures import PlainFigures
from service.fhir import uris
from service.fhir.writing.charge import organization as organization_reference
from service.fhir.writing.invoice import parties
from service.fhir.writing.invoice_line import group, item, money
from service.fhir.writing.invoice_text import narrative

Json = dict[str, Any]
CODES = {"estimate": "Estimate", "agreed": "Consent to an estimate"}
AGREED = "The estimate that is named was agreed to, up to the amount that is stated."


def estimate(value: Invoice, *, organization: str, words: Words) -> Json:
    """A draft without number or date: it is no claim for money. The payer is left out while nobody knows who it is.

    words: of its language, for the narrative."""
    told = sheet(value, words=words, language=value.language, figures=PlainFigures(), estimate=True)
    resource: Json = {
        "resourceType": "Invoice",
        "id": value.id,
        "language": value.language,
        "text": {"status": "generated", "div": narrative(told)},
        "extension": [
            *parties(value),
            {"url": uris.X_ROUNDING, "valueCode": value.rounding},
            {"url": uris.X_GROSS_ROUNDING, "valueCode": value.gross_rounding},
        ],
        "identifier": [{"system": uris.ID, "value": value.id}],
        "status": "draft",
        "type": _coded("estimate"),
        "subject": _named(f"Patient/{value.performed.animal}", value.performed.animal_name),
        "issuer": organization_reference(organization, value.seller.legal_name),
        "lineItem": [_line(value, index) for index in range(len(value.lines))],
        "totalPriceComponent": [part for one in value.groups for part in group(one)],
        "totalNet": money(value.net),
        "totalGross": money(value.gross),
    }
    if value.payer.reference:
        resource["recipient"] = _named(value.payer.reference, value.payer.name)
    return resource


def replaced(resource: Json, reason: str = "A later estimate of the exam has taken its place.") -> Json:
    """An estimate that no longer holds for anybody, and why."""
    return {**resource, "status": "cancelled", "cancelledReason": reason}


def consent(
    id_: str,
    *,
    animal: str,
    organization: str,
    estimate: str,
    given: Json,
    amount: Money,
    method: str,
    by: str,
    at: str,
) -> Json:
    """The consent of somebody to an estimate. estimate: the version agreed to, as a reference; by: who records it."""
    parts = [
        {"url": "amount", "valueMoney": money(amount)},
        {"url": "method", "valueCode": method},
        {"url": "recorded-by", "valueString": by},
    ]
    return {
        "resourceType": "Consent",
        "id": id_,
        "extension": [{"url": uris.X_AGREED, "extension": parts}],
        "identifier": [{"system": uris.ID, "value": id_}],
        "status": "active",
        "scope": _coded("agreed"),
        "category": [_coded("agreed")],
        "patient": {"reference": f"Patient/{animal}"},
        "dateTime": at,
        "performer": [given],
        "organization": [organization_reference(organization)],
        "policyRule": {"text": AGREED},
        "provision": {"type": "permit", "data": [{"meaning": "instance", "reference": {"reference": estimate}}]},
    }


def _coded(code: str) -> Json:
    return {"coding": [{"system": uris.ESTIMATE, "code": code, "display": CODES[code]}], "text": CODES[code]}


def _named(reference: str, name: str) -> Json:
    return {"reference": reference, "display": name} if name else {"reference": reference}


def _line(value: Invoice, index: int) -> Json:
    """A line names its service by code: the charge comes about when it is performed."""
    line = value.lines[index]
    coding = {"system": uris.CHARGE, "code": line.code, "display": line.text}
    whole = item(line, value.performed)
    del whole["chargeItemReference"]
    return {**whole, "chargeItemCodeableConcept": {"coding": [coding], "text": line.text}}
