"""Turns the rows of the price list and of what can be charged into values, with everything that is wrong with them."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from service.basics.money import Currency, Money
from service.billing.situation import Conditions
from service.billing.tariff import Discount, Price, Surcharge, Tax
from service.billing.triggers import Trigger
from service.catalogue import exceptions, invoice_words, trade
from service.catalogue.price_faults import SOUND, faults
from service.catalogue.rows_trade import ChargeRow, PriceRow
from service.catalogue.sheets import Line, Sheets


def money(sheets: Sheets) -> dict[str, Any]:
    """What an exam may cost, who is billed how, and what billing lists for a person."""
    currencies = trade.currencies(sheets)
    return {
        "triggers": triggers(sheets),
        "prices": prices(sheets, currencies=currencies),
        "practices": trade.practices(sheets, currencies=currencies),
        "currencies": currencies,
        "exceptions": exceptions.exceptions(sheets),
        "invoice_words": invoice_words.invoice_words(sheets),
    }


def triggers(sheets: Sheets) -> tuple[Trigger, ...]:
    """What an exam can show, and which charge that leads to."""
    rows = [placed.row for placed in sheets.read("charges.csv", ChargeRow)]
    return tuple(Trigger(row.charge, row.text, row.trigger, row.always) for row in rows)


def prices(sheets: Sheets, *, currencies: Mapping[str, Currency]) -> tuple[Price, ...]:
    """The price list; no exam on any day finds two prices for one charge of one organisation."""
    found: list[tuple[Line, Price]] = []
    for placed in sheets.read("tariff.csv", PriceRow):
        wrong = list(faults(placed.row, sheets, currencies))
        for text in wrong:
            sheets.fault(placed.line, text)
        if not wrong:
            found.append((placed.line, _price(placed.row, currencies[placed.row.currency])))
    for placed, columns in sheets.broken("tariff.csv", PriceRow, sound=SOUND):
        for text in faults(placed.row, sheets, currencies, unread=columns):
            sheets.fault(placed.line, text)
    _overlaps(found, sheets)
    _bundles(found, sheets)
    return tuple(price for _, price in found)


def _price(row: PriceRow, currency: Currency) -> Price:
    minor = int((row.amount or Decimal(0)).scaleb(currency.exponent))
    return Price(
        code=row.charge,
        text=row.text,
        unit=Money(minor, currency),
        tax=Tax(row.tax_rate or Decimal(0), row.tax_category, row.tax_reason),
        valid_from=row.valid_from,
        valid_to=row.valid_to,
        organization=row.organization,
        variant=row.variant,
        basis=row.basis,
        when=Conditions(
            row.scope, row.species, row.weight_from, row.weight_below, row.priority, row.hours, row.grade, row.requester
        ),
        quantity=row.quantity,
        cap=row.cap or None,
        exclusive_with=row.exclusive_with,
        surcharge=Surcharge(row.surcharge, row.surcharge_on) if row.surcharge else None,
        discount=Discount(row.discount, row.discount_reason) if row.discount else None,
        kind=row.kind,
        part_of=row.part_of,
        payer=row.payer,
    )


def _overlaps(found: Sequence[tuple[Line, Price]], sheets: Sheets) -> None:
    by_code: dict[tuple[str, str], list[Price]] = {}
    for line, price in sorted(found, key=lambda one: one[1].valid_from):
        others = by_code.setdefault((price.code, price.organization), [])
        if any(price.together(other) for other in others):
            sheets.fault(line, f"{price.code} has a price already on {price.valid_from} for the same exams")
        others.append(price)


def _bundles(found: Sequence[tuple[Line, Price]], sheets: Sheets) -> None:
    """The parts of a bundle come to its price on every day on which there are parts."""
    parts = [(line, price) for line, price in found if price.part_of]
    for line, part in parts:
        days = [p.valid_from for _, p in parts if (p.part_of, p.organization) == (part.part_of, part.organization)]
        for day in (d for d in days if part.in_force(d)):
            wholes = [p for _, p in found if _is_whole(p, part) and p.in_force(day)]
            together = [p for _, p in parts if _siblings(p, part) and p.in_force(day)]
            total = sum(p.unit.minor for p in together)
            alike = all((p.basis, p.unit.currency) == (w.basis, w.unit.currency) for p in together for w in wholes)
            if len(wholes) != 1 or not alike or total != wholes[0].unit.minor:
                sheets.fault(line, f"the parts of {part.part_of} do not come to its one price on {day}")


def _is_whole(price: Price, part: Price) -> bool:
    return not price.part_of and (price.code, price.organization) == (part.part_of, part.organization)


def _siblings(price: Price, part: Price) -> bool:
    return (price.part_of, price.organization) == (part.part_of, part.organization)
