"""Invented values of the billing room, and the checks of a resource that others wrote."""

from decimal import Decimal
from typing import Any

import fhirkit
from fhir.resources.R4B import get_fhir_model_class

from service.basics.money import Currency, Money
from service.billing.invoice import Invoice, Line, Payer, Performed, tax_groups, tax_on
from service.billing.practice import BillingProfile, Practice
from service.billing.tariff import Tax
from service.fhir import exact

EUR = Currency("EUR", 2)
CURRENCIES = {c.code: c for c in (EUR, Currency("JPY", 0), Currency("BHD", 3))}
PROFILE = BillingProfile("Quillfold Small Animal Imaging", "1 Example Lane, Nowhere", "TAX-0001", "14 days net", "B 1")
DAY = (8 * 60, 18 * 60)
PRACTICE = Practice("blue", "UTC", (DAY,) * 5 + (None, None), EUR, profile=PROFILE)


def taxed(rate: Decimal) -> Tax:
    """The tax of a rate: standard, or zero rated."""
    return Tax(rate, "S" if rate else "Z")


def invoice(*minors: int, rounding: str = "group", currency: Currency = EUR, rates: tuple[str, ...] = ()) -> Invoice:
    """An issued invoice with a line for each amount, at 20 % unless told."""
    lines = []
    for number, minor in enumerate(minors, start=1):
        net, rate = Money(minor, currency), Decimal(rates[number - 1] if rates else "20")
        tax = tax_on(net, rate) if rounding == "line" else None
        text = f"Line <{number}>"
        lines.append(Line(number, f"charge-{number}", f"code-{number}", text, Decimal(1), net, taxed(rate), tax))
    return Invoice(
        id="invoice-1",
        number="2026-000001",
        issued="2026-11-25T11:00:00.000+01:00",
        seller=PROFILE,
        payer=Payer("RelatedPerson/owner-1", "R. Ownwell"),
        performed=Performed("exam-1", "animal-1", "Bramble & Co", "2026-11-24", "Dr. S. Probe"),
        rounding=rounding,
        lines=tuple(lines),
        groups=tax_groups(lines, rounding),
    )


def faults(resource: dict[str, Any]) -> list[str]:
    """What two implementations that are not ours hold against a resource: fhir.resources R4B and fhirkit (R4 4.0.1)."""
    get_fhir_model_class(resource["resourceType"]).model_validate(resource)
    return [f"{i.path}: {i.message}" for i in fhirkit.validate(exact.encode(resource)) if i.severity == "error"]
