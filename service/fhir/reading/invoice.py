"""An Invoice resource of ours back into the Invoice of the billing room, to the last unit."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from service.basics.errors import Fault, Invalid
from service.basics.money import Currency, Money
from service.billing.invoice import Invoice, Line, Payer, Performed, TaxGroup
from service.billing.practice import BillingProfile
from service.fhir import uris

Json = dict[str, Any]


def read_invoice(resource: Json, currencies: Mapping[str, Currency]) -> Invoice:
    """The invoice. Raises Invalid for an amount whose currency is unknown or has other digits than that currency."""
    credited = _extension(resource, uris.X_CREDITS).get("valueReference", {})
    return Invoice(
        id=resource["id"],
        number=resource["identifier"][0]["value"],
        issued=resource["date"],
        seller=_seller(resource),
        payer=Payer(resource["recipient"]["reference"], resource["recipient"].get("display", "")),
        performed=_performed(resource),
        rounding=_extension(resource, uris.X_ROUNDING).get("valueCode", "group"),
        lines=tuple(_line(item, currencies) for item in resource["lineItem"]),
        groups=_groups(resource, currencies),
        credits=credited.get("reference", "").removeprefix("Invoice/"),
        credited_number=credited.get("display", ""),
    )


def money(amount: Json, currencies: Mapping[str, Currency]) -> Money:
    """A FHIR Money in minor units; Invalid when it has more digits than its currency, or the currency is unknown."""
    currency = currencies.get(amount["currency"])
    if currency is None:
        raise Invalid(Fault("value", f"The currency {amount['currency']} is not in the table.", "Money.currency"))
    minor = Decimal(amount["value"]).scaleb(currency.exponent)
    if minor != minor.to_integral_value():
        text = f"{amount['value']} has more digits than {currency.code} has ({currency.exponent})."
        raise Invalid(Fault("value", text, "Money.value"))
    return Money(int(minor), currency)


def _extension(holder: Json, url: str) -> Json:
    return next((e for e in holder.get("extension", []) if e["url"] == url), {})


def _seller(resource: Json) -> BillingProfile:
    parts = {e["url"]: e["valueString"] for e in _extension(resource, uris.X_SELLER).get("extension", [])}
    return BillingProfile(
        legal_name=parts["name"],
        address=parts["address"],
        tax_number=parts["tax-number"],
        terms=resource.get("paymentTerms", ""),
        bank=parts.get("bank", ""),
    )


def _line_parts(item: Json) -> Json:
    return {e["url"]: e for e in _extension(item, uris.X_LINE).get("extension", [])}


def _performed(resource: Json) -> Performed:
    parts = _line_parts(resource["lineItem"][0])
    return Performed(
        exam=parts["exam"]["valueReference"]["reference"].removeprefix("Task/"),
        animal=resource["subject"]["reference"].removeprefix("Patient/"),
        animal_name=parts.get("animal", {}).get("valueString", ""),
        day=parts["exam-date"]["valueDate"],
        performer=parts.get("performer", {}).get("valueString", ""),
    )


def _line(item: Json, currencies: Mapping[str, Currency]) -> Line:
    base, tax = item["priceComponent"]
    return Line(
        sequence=item["sequence"],
        charge=item["chargeItemReference"]["reference"].removeprefix("ChargeItem/"),
        code=_line_parts(item)["code"]["valueCode"],
        text=item["chargeItemReference"]["display"],
        quantity=Decimal(base["factor"]),
        net=money(base["amount"], currencies),
        tax_rate=_rate(tax),
        tax=money(tax["amount"], currencies) if "amount" in tax else None,
        credits=_extension(item, uris.X_CREDITED_LINE).get("valuePositiveInt", 0),
    )


def _rate(component: Json) -> Decimal:
    return Decimal(_extension(component, uris.X_TAX_RATE)["valueDecimal"])


def _groups(resource: Json, currencies: Mapping[str, Currency]) -> tuple[TaxGroup, ...]:
    parts = resource["totalPriceComponent"]
    bases = {_rate(p): money(p["amount"], currencies) for p in parts if p["type"] == "base"}
    taxes = {_rate(p): money(p["amount"], currencies) for p in parts if p["type"] == "tax"}
    return tuple(TaxGroup(rate, base, taxes[rate]) for rate, base in bases.items())
