"""Invoices as a practice would have issued them, written straight into a store: for reports, closing and figures."""

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from service.actions.ports import House
from service.actions.writing import write
from service.basics.ids import new_id
from service.basics.money import Currency, Money
from service.catalogue.load import Catalogues
from service.fhir import uris
from service.store import SqlBooks
from tests.builders.survey import mappings

Json = dict[str, Any]
EUR = Currency("EUR", 2)
PARTS = {"name": "Quillfold", "address": "1 Example Lane", "tax-number": "TAX-0001"}


class Clock:
    """A clock that stands until it is set."""

    def __init__(self, text: str) -> None:
        self.set(text)

    def set(self, text: str) -> None:
        self.now = datetime.fromisoformat(text).astimezone(UTC)

    def __call__(self) -> datetime:
        return self.now


def house(books: SqlBooks) -> House:
    """A house over the repository's own mappings."""
    return House(books, Catalogues(mappings(), books.catalogue_text))


def bill(
    date: str,
    number: str,
    *rated: tuple[str, int, int],
    currency: Currency = EUR,
    status: str = "issued",
    credits: str = "",
    payer: str = "R. Ownwell",
    gross: int | None = None,
    cash: int | None = None,
    due: int | None = None,
) -> Json:
    """An invoice, or the credit of one; rated: (rate, base, tax) in minor units, negative on a credit.

    cash: what rounding to coins adds; due: what the invoice says is due, where that is not the sum."""

    def money(minor: int) -> Json:
        return {"value": Money(minor, currency).decimal(), "currency": currency.code}

    def part(kind: str, rate: str, minor: int) -> Json:
        extension = [{"url": uris.X_TAX_RATE, "valueDecimal": Decimal(rate)}]
        return {"extension": extension, "type": kind, "amount": money(minor)}

    seller = [{"url": url, "valueString": text} for url, text in PARTS.items()]
    kind = "credit" if credits else "invoice"
    net, tax = sum(base for _, base, _ in rated), sum(tax for _, _, tax in rated)
    named = [{"url": uris.X_CREDITS, "valueReference": {"reference": f"Invoice/{credits}", "display": credits}}]
    total = net + tax if gross is None else gross
    coins = [(uris.X_CASH_ROUNDING, cash), (uris.X_DUE, total + (cash or 0) if due is None else due)]
    rounded = [
        {"url": url, "valueMoney": money(minor)} for url, minor in coins if cash is not None and minor is not None
    ]
    return {
        "resourceType": "Invoice",
        "id": new_id(),
        "extension": [{"url": uris.X_SELLER, "extension": seller}, *(named if credits else []), *rounded],
        "identifier": [{"system": f"{uris.INVOICE_NUMBER}/x", "value": number}],
        "status": status,
        "type": {"coding": [{"system": uris.INVOICE_TYPE, "code": kind}]},
        "subject": {"reference": "Patient/animal-1", "display": "Bramble"},
        "recipient": {"reference": "RelatedPerson/owner-1", "display": payer},
        "date": date,
        "totalPriceComponent": [p for r, b, t in rated for p in (part("base", r, b), part("tax", r, t))],
        "totalNet": money(net),
        "totalGross": money(total),
    }


def keep(books: SqlBooks, organization: str, bills: Iterable[Json]) -> None:
    """Write them as they are."""
    with books.begin(organization) as work:
        write(work, bills)


def many(count: int, month: str) -> Iterator[Json]:
    """So many invoices of one month, of two rates, every tenth a credit."""
    for n in range(count):
        day, sign = 1 + n % 28, -1 if n % 10 == 9 else 1
        rated = (("20", sign * (1003 + n), sign * 201), ("7.5", sign * 200, sign * 15))
        credits = f"2026-{n:06d}" if sign < 0 else ""
        yield bill(f"{month}-{day:02d}T{n % 24:02d}:00:00.000Z", f"2026-{n + 1:06d}", *rated, credits=credits)
