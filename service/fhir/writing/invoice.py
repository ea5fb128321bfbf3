"""An Invoice of the billing room, or the credit of one, into its FHIR resource."""

from collections.abc import Mapping, Sequence
from typing import Any

from service.billing.invoice import Invoice
from service.billing.invoice_sheet import sheet
from service.billing.invoice_words import Words
from service.billing.plain_figures import PlainFigures
from service.fhir import uris
from service.fhir.writing.charge import organization as organization_reference
from service.fhir.writing.invoice_line import group, item, money
from service.fhir.writing.invoice_text import narrative

Json = dict[str, Any]
KINDS: Mapping[str, str] = {"invoice": "Invoice", "credit": "Credit note"}


def invoice(
    value: Invoice, *, organization: str, notes: Sequence[str] = (), by: str = "", words: Words | None = None
) -> Json:
    """The resource. organization is the slug of the seller; notes are printed below the totals (never clinical).

    by: who had it issued, where somebody did by name. words: of its language, for the narrative; without, none."""
    resource: Json = {
        "resourceType": "Invoice",
        "id": value.id,
        "language": value.language,
        "extension": _extensions(value),
        "identifier": [{"system": f"{uris.INVOICE_NUMBER}/{organization}", "value": value.number}],
        "status": "issued",
        "type": _type(value),
        "subject": _named(f"Patient/{value.performed.animal}", value.performed.animal_name),
        "recipient": _named(value.payer.reference, value.payer.name),
        "date": value.issued,
        "issuer": organization_reference(organization, value.seller.legal_name),
        "lineItem": [item(line, value.performed) for line in value.lines],
        "totalPriceComponent": _totals(value),
        "totalNet": money(value.net),
        "totalGross": money(value.gross),
    }
    if words is not None:
        told = sheet(value, words=words, language=value.language, figures=PlainFigures(), notes=notes)
        resource["text"] = {"status": "generated", "div": narrative(told)}
    if by:
        resource["participant"] = [{"actor": {"display": by}}]
    if value.seller.terms:
        resource["paymentTerms"] = value.seller.terms
    if notes:
        resource["note"] = [{"time": value.issued, "text": text} for text in notes]
    return resource


def _type(value: Invoice) -> Json:
    code = "credit" if value.credits else "invoice"
    display = KINDS[code]
    return {"coding": [{"system": uris.INVOICE_TYPE, "code": code, "display": display}], "text": display}


def _named(reference: str, name: str) -> Json:
    return {"reference": reference, "display": name} if name else {"reference": reference}


def parties(value: Invoice) -> list[Json]:
    """The extensions that keep who sells and whom it bills as they were on the day."""
    seller, payer = value.seller, value.payer
    sells = {"name": seller.legal_name, "address": seller.address, "tax-number": seller.tax_number, "bank": seller.bank}
    pays = {"address": payer.address, "tax-number": payer.tax_number}
    held = [
        (url, [{"url": name, "valueString": text} for name, text in texts.items() if text])
        for url, texts in ((uris.X_SELLER, sells), (uris.X_BUYER, pays))
    ]
    return [{"url": url, "extension": parts} for url, parts in held if parts]


def _extensions(value: Invoice) -> list[Json]:
    found: list[Json] = [
        *parties(value),
        {"url": uris.X_ROUNDING, "valueCode": value.rounding},
        {"url": uris.X_GROSS_ROUNDING, "valueCode": value.gross_rounding},
    ]
    if value.cash is not None:
        found.append({"url": uris.X_CASH_ROUNDING, "valueMoney": money(value.cash)})
        found.append({"url": uris.X_DUE, "valueMoney": money(value.due)})
    if value.cover:
        found.append({"url": uris.X_COVER, "valueReference": {"reference": value.cover}})
    if value.credits:
        credited = {"reference": f"Invoice/{value.credits}", "display": value.credited_number}
        found.append({"url": uris.X_CREDITS, "valueReference": credited})
    return found


def _totals(value: Invoice) -> list[Json]:
    parts = [part for one in value.groups for part in group(one)]
    if value.cash is not None:
        words = {"text": "Rounding to coins"}
        parts.append({"type": "informational", "code": words, "amount": money(value.cash)})
    return parts
