"""An Invoice of the billing room, or the credit of one, into its FHIR resource."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from service.basics.money import Money
from service.billing.invoice import Invoice, Line, Performed, TaxGroup
from service.fhir import uris
from service.fhir.writing.charge import organization as organization_reference
from service.fhir.writing.invoice_text import narrative

Json = dict[str, Any]
KINDS: Mapping[str, str] = {"invoice": "Invoice", "credit": "Credit note"}


def invoice(value: Invoice, *, organization: str, notes: Sequence[str] = ()) -> Json:
    """The resource. organization is the slug of the seller; notes are printed below the totals (never clinical)."""
    resource: Json = {
        "resourceType": "Invoice",
        "id": value.id,
        "text": {"status": "generated", "div": narrative(value, notes=notes)},
        "extension": _extensions(value),
        "identifier": [{"system": f"{uris.INVOICE_NUMBER}/{organization}", "value": value.number}],
        "status": "issued",
        "type": _type(value),
        "subject": _named(f"Patient/{value.performed.animal}", value.performed.animal_name),
        "recipient": _named(value.payer.reference, value.payer.name),
        "date": value.issued,
        "issuer": organization_reference(organization, value.seller.legal_name),
        "lineItem": [_line(line, value.performed) for line in value.lines],
        "totalPriceComponent": [part for group in value.groups for part in _group(group)],
        "totalNet": money(value.net),
        "totalGross": money(value.gross),
    }
    if value.seller.terms:
        resource["paymentTerms"] = value.seller.terms
    if notes:
        resource["note"] = [{"time": value.issued, "text": text} for text in notes]
    return resource


def money(amount: Money) -> Json:
    """A FHIR Money with exactly the currency's digits."""
    return {"value": amount.decimal(), "currency": amount.currency.code}


def _type(value: Invoice) -> Json:
    code = "credit" if value.credits else "invoice"
    display = KINDS[code]
    return {"coding": [{"system": uris.INVOICE_TYPE, "code": code, "display": display}], "text": display}


def _named(reference: str, name: str) -> Json:
    return {"reference": reference, "display": name} if name else {"reference": reference}


def _extensions(value: Invoice) -> list[Json]:
    seller = value.seller
    parts = {"name": seller.legal_name, "address": seller.address, "tax-number": seller.tax_number, "bank": seller.bank}
    held = [{"url": url, "valueString": text} for url, text in parts.items() if text]
    found: list[Json] = [
        {"url": uris.X_SELLER, "extension": held},
        {"url": uris.X_ROUNDING, "valueCode": value.rounding},
    ]
    if value.credits:
        credited = {"reference": f"Invoice/{value.credits}", "display": value.credited_number}
        found.append({"url": uris.X_CREDITS, "valueReference": credited})
    return found


def _line(line: Line, exam: Performed) -> Json:
    extensions: list[Json] = [{"url": uris.X_LINE, "extension": _line_parts(line, exam)}]
    if line.credits:
        extensions.append({"url": uris.X_CREDITED_LINE, "valuePositiveInt": line.credits})
    base = {"type": "base", "factor": line.quantity, "amount": money(line.net)}
    return {
        "extension": extensions,
        "sequence": line.sequence,
        "chargeItemReference": {"reference": f"ChargeItem/{line.charge}", "display": line.text},
        "priceComponent": [base, _tax(line.tax_rate, line.tax)],
    }


def _line_parts(line: Line, exam: Performed) -> list[Json]:
    parts: list[Json] = [
        {"url": "code", "valueCode": line.code},
        {"url": "animal", "valueString": exam.animal_name},
        {"url": "exam-date", "valueDate": exam.day},
        {"url": "performer", "valueString": exam.performer},
        {"url": "exam", "valueReference": {"reference": f"Task/{exam.exam}"}},
    ]
    return [part for part in parts if all(part.values())]


def _tax(rate: Decimal, amount: Money | None) -> Json:
    component: Json = {
        "extension": [{"url": uris.X_TAX_RATE, "valueDecimal": rate}],
        "type": "tax",
        "factor": rate.scaleb(-2),
    }
    return {**component, "amount": money(amount)} if amount is not None else component


def _group(group: TaxGroup) -> list[Json]:
    rate = [{"url": uris.X_TAX_RATE, "valueDecimal": group.rate}]
    return [{"extension": rate, "type": "base", "amount": money(group.base)}, _tax(group.rate, group.tax)]
