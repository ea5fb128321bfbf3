"""An Invoice resource of ours back into the Invoice of the billing room, to the last unit."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from service.basics.errors import Fault, Invalid
from service.basics.money import Currency, Money
from service.billing.amounts import NET_FIRST
from service.billing.invoice import Invoice, Line, Payer, Performed, TaxGroup
from service.billing.invoice_words import DEFAULT
from service.billing.practice import BillingProfile
from service.billing.tariff import Tax
from service.fhir import uris

Json = dict[str, Any]


def read_invoice(resource: Json, currencies: Mapping[str, Currency]) -> Invoice:
    """The invoice. Raises Invalid for an amount whose currency is unknown or has other digits than that currency.

    An estimate reads as well: without number, dated by when it was last reckoned, perhaps without a payer."""
    credited = _extension(resource, uris.X_CREDITS).get("valueReference", {})
    cash = _extension(resource, uris.X_CASH_ROUNDING).get("valueMoney")
    return Invoice(
        id=resource["id"],
        number=_number(resource),
        issued=resource.get("date") or resource.get("meta", {}).get("lastUpdated", ""),
        seller=_seller(resource),
        payer=_payer(resource),
        performed=_performed(resource),
        rounding=_extension(resource, uris.X_ROUNDING).get("valueCode", "group"),
        lines=tuple(_line(item, currencies) for item in resource["lineItem"]),
        groups=_groups(resource, currencies),
        credits=credited.get("reference", "").removeprefix("Invoice/"),
        credited_number=credited.get("display", ""),
        gross_rounding=_extension(resource, uris.X_GROSS_ROUNDING).get("valueCode", NET_FIRST),
        cash=money(cash, currencies) if cash else None,
        language=resource.get("language", DEFAULT),
        cover=_extension(resource, uris.X_COVER).get("valueReference", {}).get("reference", ""),
    )


def is_estimate(resource: Json) -> bool:
    """Whether it is an estimate of ours."""
    return any(one.get("system") == uris.ESTIMATE for one in resource.get("type", {}).get("coding", []))


def _number(resource: Json) -> str:
    numbers = [i for i in resource["identifier"] if str(i.get("system", "")).startswith(uris.INVOICE_NUMBER)]
    return str(numbers[0]["value"]) if numbers else ""


def notes(resource: Json) -> list[str]:
    """What is printed below the totals."""
    return [str(note["text"]) for note in resource.get("note", []) if note.get("text")]


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
        legal_name=parts.get("name") or resource.get("issuer", {}).get("display", ""),
        address=parts.get("address", ""),
        tax_number=parts.get("tax-number", ""),
        terms=resource.get("paymentTerms", ""),
        bank=parts.get("bank", ""),
    )


def _payer(resource: Json) -> Payer:
    held = {e["url"]: e["valueString"] for e in _extension(resource, uris.X_BUYER).get("extension", [])}
    recipient = resource.get("recipient", {})
    named = (recipient.get("reference", ""), recipient.get("display", ""))
    return Payer(*named, held.get("address", ""), held.get("tax-number", ""))


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
        hours=parts.get("hours", {}).get("valueCode", ""),
    )


def _line(item: Json, currencies: Mapping[str, Currency]) -> Line:
    parts = _line_parts(item)
    kinds = {part["type"]: part for part in item["priceComponent"]}
    price, tax, off = kinds.get("base") or kinds["surcharge"], kinds["tax"], kinds.get("discount")
    base = money(price["amount"], currencies)
    discount = money(off["amount"], currencies) if off else None
    share = price["type"] == "surcharge"
    of = _extension(price, uris.X_SURCHARGE_BASE).get("valueMoney")
    return Line(
        sequence=item["sequence"],
        charge=_charge(item),
        code=parts["code"]["valueCode"],
        text=_service(item),
        quantity=Decimal(parts["quantity"]["valueDecimal"] if share else price["factor"]),
        net=base + discount if discount is not None else base,
        rate=_rate(tax),
        tax=money(tax["amount"], currencies) if "amount" in tax else None,
        discount=discount,
        discount_reason=off["code"]["text"] if off else "",
        basis=parts["basis"]["valueCode"],
        outside=parts.get("outside", {}).get("valueBoolean", False),
        surcharge=Decimal(price["factor"]).scaleb(2) if share else None,
        surcharge_base=money(of, currencies) if of else None,
        credits=_extension(item, uris.X_CREDITED_LINE).get("valuePositiveInt", 0),
        authorisation=parts.get("authorisation", {}).get("valueString", ""),
        payer_reason=parts.get("payer-reason", {}).get("valueString", ""),
    )


def _charge(item: Json) -> str:
    reference: str = item.get("chargeItemReference", {}).get("reference", "")
    return reference.removeprefix("ChargeItem/")


def _service(item: Json) -> str:
    """What the line is for: the name of its charge, or on an estimate of the service."""
    if "chargeItemReference" in item:
        return str(item["chargeItemReference"]["display"])
    return str(item["chargeItemCodeableConcept"]["text"])


def _rate(component: Json) -> Tax:
    code = component["code"]
    rate = Decimal(_extension(component, uris.X_TAX_RATE)["valueDecimal"])
    return Tax(rate, code["coding"][0]["code"], code.get("text", ""))


def _groups(resource: Json, currencies: Mapping[str, Currency]) -> tuple[TaxGroup, ...]:
    parts = resource["totalPriceComponent"]
    bases = {_rate(p): money(p["amount"], currencies) for p in parts if p["type"] == "base"}
    taxes = {_rate(p): money(p["amount"], currencies) for p in parts if p["type"] == "tax"}
    return tuple(TaxGroup(rate, base, taxes[rate]) for rate, base in bases.items())
