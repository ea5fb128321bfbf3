"""The lines and totals of an invoice into the price components of its resource."""

from typing import Any

from service.basics.money import Money
from service.billing.invoice import Line, Performed, TaxGroup
from service.billing.tariff import Tax
from service.fhir import uris

Json = dict[str, Any]
CATEGORIES = {
    "S": "Standard rate",
    "Z": "Zero rated",
    "E": "Exempt from tax",
    "O": "Outside the scope of tax",
    "AE": "Reverse charge",
    "K": "Intra-community supply",
    "G": "Export outside the EU",
}


def money(amount: Money) -> Json:
    """A FHIR Money with exactly the currency's digits."""
    return {"value": amount.decimal(), "currency": amount.currency.code}


def item(line: Line, exam: Performed) -> Json:
    """One line: what it was for, its price, what was added or taken off, its tax."""
    extensions: list[Json] = [{"url": uris.X_LINE, "extension": _parts(line, exam)}]
    if line.credits:
        extensions.append({"url": uris.X_CREDITED_LINE, "valuePositiveInt": line.credits})
    return {
        "extension": extensions,
        "sequence": line.sequence,
        "chargeItemReference": {"reference": f"ChargeItem/{line.charge}", "display": line.text},
        "priceComponent": [_price(line), *_discount(line), tax(line.rate, line.tax)],
    }


def group(one: TaxGroup) -> list[Json]:
    """What the lines of one tax come to, and the tax on it."""
    base = {"extension": [_rate(one.rate)], "type": "base", "code": _category(one.rate), "amount": money(one.base)}
    return [base, tax(one.rate, one.tax)]


def tax(rate: Tax, amount: Money | None) -> Json:
    """A tax component; without amount where tax is worked out by group."""
    component: Json = {
        "extension": [_rate(rate)],
        "type": "tax",
        "code": _category(rate),
        "factor": rate.rate.scaleb(-2),
    }
    return {**component, "amount": money(amount)} if amount is not None else component


def _price(line: Line) -> Json:
    if line.surcharge is None or line.surcharge_base is None:
        return {"type": "base", "factor": line.quantity, "amount": money(line.base)}
    base = {"url": uris.X_SURCHARGE_BASE, "valueMoney": money(line.surcharge_base)}
    words = {"text": f"{line.surcharge:f} % of {line.surcharge_base.decimal():f} {line.net.currency.code}"}
    factor = line.surcharge.scaleb(-2)
    return {"extension": [base], "type": "surcharge", "code": words, "factor": factor, "amount": money(line.base)}


def _discount(line: Line) -> list[Json]:
    if line.discount is None:
        return []
    return [{"type": "discount", "code": {"text": line.discount_reason}, "amount": money(line.discount)}]


def _parts(line: Line, exam: Performed) -> list[Json]:
    parts: list[Json] = [
        {"url": "code", "valueCode": line.code},
        {"url": "animal", "valueString": exam.animal_name},
        {"url": "exam-date", "valueDate": exam.day},
        {"url": "hours", "valueCode": exam.hours},
        {"url": "performer", "valueString": exam.performer},
        {"url": "exam", "valueReference": {"reference": f"Task/{exam.exam}"}},
        {"url": "basis", "valueCode": line.basis},
        {"url": "outside", "valueBoolean": line.outside},
        {"url": "quantity", "valueDecimal": line.quantity if line.surcharge is not None else None},
        {"url": "authorisation", "valueString": line.authorisation},
        {"url": "payer-reason", "valueString": line.payer_reason},
    ]
    return [part for part in parts if all(value not in ("", False, None) for value in part.values())]


def _rate(rate: Tax) -> Json:
    return {"url": uris.X_TAX_RATE, "valueDecimal": rate.rate}


def _category(rate: Tax) -> Json:
    coding = {"system": uris.TAX_CATEGORY, "code": rate.category, "display": CATEGORIES[rate.category]}
    return {"coding": [coding], "text": rate.reason} if rate.reason else {"coding": [coding]}
