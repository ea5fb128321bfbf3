"""Invented invoices with everything that can stand on one, and their printed forms."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from service.basics.money import Money
from service.billing.credit import credit
from service.billing.invoice import Invoice, Line, Payer, Performed, tax_groups
from service.billing.invoice_sheet import sheet
from service.billing.practice import BillingProfile
from service.billing.sheet import Figures, Sheet
from service.billing.tariff import Tax
from service.fhir.printing.figures import LocalFigures
from tests.builders.money import EUR
from tests.builders.survey import mappings

FULL, LOW = Tax(Decimal(20)), Tax(Decimal("7.5"))
FREE = Tax(Decimal(0), "E", "Compensation, not a supply")
OUTSIDE = Tax(Decimal(0), "O", "Not of this country")
CHARGED = Tax(Decimal(0), "AE", "Article 196")
SELLER = BillingProfile("Quillfold Imaging", "1 Example Lane\n1234 Nowhere", "TAX-0001", "14 days net", "Bank 0001")
BUYER = Payer("Organization/clinic", "Invented Clinic", "12 Invented Street\n1234 Nowhere", "TAX-0002")


def eur(minor: int) -> Money:
    """An amount of euro cents."""
    return Money(minor, EUR)


def lines(text: str = "Service", reason: str = "Agreed") -> tuple[Line, ...]:
    """A line of every kind: plain, several, discounted, a share, with tax in its price, outside, of each category."""
    one = Decimal(1)
    made = (
        Line(1, "c1", "full", f"{text} one", one, eur(18500), FULL),
        Line(2, "c2", "sample", f"{text} two", Decimal(3), eur(13500), FULL),
        Line(3, "c3", "sedation", f"{text} three", one, eur(5580), LOW, discount=eur(-620), discount_reason=reason),
        Line(4, "c4", "priority", text, one, eur(4625), FULL, surcharge=Decimal(25), surcharge_base=eur(18500)),
        Line(5, "c5", "outside", text, one, eur(5000), FULL, eur(1000), basis="gross", outside=True),
        Line(6, "c6", "no-show", text, one, eur(2500), FREE),
        Line(7, "c7", "abroad", text, one, eur(123400), OUTSIDE),
        Line(8, "c8", "clinic", text, one, eur(100), CHARGED, authorisation="PA-7"),
    )
    return tuple(replace(line, rate=replace(line.rate, reason=line.rate.reason and reason)) for line in made)


def whole(text: str = "Service", *, reason: str = "Agreed", language: str = "en") -> Invoice:
    """An invoice with all of them, rounded to coins."""
    many = lines(text, reason)
    return Invoice(
        id="invoice-1",
        number="2026-000042",
        issued="2026-11-25T11:00:00.000+01:00",
        seller=SELLER,
        payer=BUYER,
        performed=Performed("exam-1", "animal-1", "Bramble", "2026-11-24", "Dr. S. Probe", "in"),
        rounding="group",
        lines=many,
        groups=tax_groups(many, "group"),
        cash=eur(-2),
        language=language,
    )


def taken_back(invoice: Invoice) -> Invoice:
    """The credit of all of it."""
    found = credit(invoice, [], id_="credit-1", number="2026-000043", issued="2026-11-26T09:00:00.000+01:00")
    assert found is not None
    return found


def everywhere(text: str) -> Invoice:
    """An invoice with this text in every place that people fill."""
    return replace(
        whole(text, reason=text),
        number=text,
        seller=BillingProfile(text, text, text, text, text),
        payer=Payer("Organization/clinic", text, text, text),
        performed=Performed(text, "animal-1", text, "2026-11-24", text, "in"),
    )


def shown(
    invoice: Invoice,
    *,
    language: str = "",
    status: str = "issued",
    notes: Sequence[str] = (),
    figures: Figures | None = None,
    estimate: bool = False,
) -> Sheet:
    """The printed form in the shipped words."""
    spoken = language or invoice.language
    return sheet(
        invoice,
        words=mappings().invoice_words[spoken.partition("-")[0]],
        language=spoken,
        figures=figures or LocalFigures(spoken),
        status=status,
        notes=notes,
        estimate=estimate,
    )
