"""Turns the rows of the price list and of what can be charged into values, with everything that is wrong with them."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from service.basics.money import Currency, Money
from service.billing.situation import GRADES, PRIORITIES, Conditions
from service.billing.tariff import NEEDS_REASON, Discount, Price, Surcharge, Tax
from service.billing.triggers import Trigger
from service.catalogue import exceptions, invoice_words, trade
from service.catalogue.rows_trade import ChargeRow, PriceRow
from service.catalogue.sheets import Line, Placed, Sheets

KINDS = ("exam", "service", "drug", "outside")
HUNDRED = Decimal(100)
MOST = Decimal(1_000_000_000)  # of the major unit: above every price of the trade, and sums of such stay exact


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
        wrong = list(_faults(placed, sheets, currencies))
        for text in wrong:
            sheets.fault(placed.line, text)
        if not wrong:
            found.append((placed.line, _price(placed.row, currencies[placed.row.currency])))
    _overlaps(found, sheets)
    _bundles(found, sheets)
    return tuple(price for _, price in found)


def _faults(placed: Placed[PriceRow], sheets: Sheets, currencies: Mapping[str, Currency]) -> Iterator[str]:
    row = placed.row
    if row.currency not in sheets.known("currencies.csv", "currency"):
        yield f'currency "{row.currency}" is not in currencies.csv'
    elif row.amount is not None and row.currency in currencies:
        yield from _amount(row, currencies[row.currency])
    yield from _tax(row)
    yield from _shares(row)
    yield from _words(row, sheets)
    if row.valid_to and row.valid_to < row.valid_from:
        yield "valid_to is before valid_from"
    if row.weight_from is not None and row.weight_below is not None and row.weight_from >= row.weight_below:
        yield "weight_from must be less than weight_below"


def _amount(row: PriceRow, currency: Currency) -> Iterator[str]:
    amount = row.amount or Decimal(0)
    minor = amount.scaleb(currency.exponent)
    if amount < 0:
        yield f"amount {amount} is negative"
    if amount >= MOST:
        yield f"amount {amount} is no price: it must be below {MOST:,}"
    if minor != minor.to_integral_value():
        yield f"amount {amount} has more digits than {currency.code} has ({currency.exponent})"


def _tax(row: PriceRow) -> Iterator[str]:
    rate = row.tax_rate
    if bool(row.tax_category) != (rate is not None):
        yield "a tax category needs its rate, and a rate its category"
        return
    if rate is None:
        yield "tax_category and tax_rate are missing"
        return
    if not 0 <= rate <= HUNDRED:
        yield f"tax_rate {rate} is not a share of a hundred"
    if (row.tax_category == "S") != (rate > 0):
        yield "category S has a rate above zero, every other category the rate 0"
    if (row.tax_category in NEEDS_REASON) != bool(row.tax_reason):
        yield f"tax_reason says why no tax is due: needed for {', '.join(sorted(NEEDS_REASON))}, and only for them"


def _shares(row: PriceRow) -> Iterator[str]:
    if (row.amount is None) == (row.surcharge is None):
        yield "a row has either an amount or a surcharge in percent"
    if (row.surcharge is not None) != bool(row.surcharge_on):
        yield f"a surcharge states its base in surcharge_on: {', '.join(KINDS)}"
    if row.surcharge is not None and (row.basis != "net" or row.part_of or row.quantity not in {"exam", "visit"}):
        yield "a surcharge is net, once an exam or visit, and no part of a bundle"
    if row.surcharge is not None and not 0 < row.surcharge <= 1000:
        yield f"surcharge {row.surcharge} is no percentage above 0 and up to 1000"
    if (row.discount is not None) != bool(row.discount_reason):
        yield "a discount needs a reason, and a reason its discount"
    if row.discount is not None and not 0 < row.discount <= HUNDRED:
        yield f"discount {row.discount} is no percentage above 0 and up to 100"


def _words(row: PriceRow, sheets: Sheets) -> Iterator[str]:
    known = sheets.known("services.csv", "charge")
    every = known | sheets.known("charges.csv", "charge") | sheets.known("tariff.csv", "charge")
    for column, words, can in (
        ("scope", row.scope, known),
        ("priority", row.priority, PRIORITIES),
        ("grade", row.grade, GRADES),
        ("surcharge_on", row.surcharge_on, KINDS),
        ("exclusive_with", row.exclusive_with, every),
        ("part_of", (row.part_of,) if row.part_of else (), every),
    ):
        for word in words:
            if word not in can:
                yield f'{column} "{word}" can be {", ".join(sorted(can))}'
    if row.cap and row.quantity not in {"site", "procedure"}:
        yield "a cap needs the quantity site or procedure"


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
