"""What is wrong with one row of the price list, all of it at once."""

from collections.abc import Iterator, Mapping, Set
from decimal import Decimal

from service.basics.money import MOST, Currency
from service.billing.situation import GRADES, PRIORITIES
from service.billing.tariff import NEEDS_REASON
from service.catalogue.rows_trade import PriceRow
from service.catalogue.sheets import Sheets

KINDS = ("exam", "service", "drug", "outside")
HUNDRED = Decimal(100)
SOUND = {
    "charge": "unread",
    "text": "Unread",
    "currency": "EUR",
    "basis": "net",
    "valid_from": "2000-01-01",
    "organization": "*",
    "quantity": "exam",
    "kind": "service",
    "payer": "client",
}  # what stands in for a cell that can't be read
SHARED = {"amount", "surcharge", "surcharge_on", "basis", "part_of", "quantity", "discount", "discount_reason"}


def faults(
    row: PriceRow, sheets: Sheets, currencies: Mapping[str, Currency], *, unread: Set[str] = frozenset()
) -> Iterator[str]:
    """All that is wrong with a row; what concerns a cell of the columns `unread` can't be told."""
    if not {"charge", "part_of"} & unread and not row.part_of:
        yield from _charge(row, sheets)
    if "currency" not in unread and row.currency not in sheets.known("currencies.csv", "currency"):
        yield f'currency "{row.currency}" is not in currencies.csv'
    for columns, told in (
        ({"amount"}, _amount(row, currencies.get(row.currency))),
        ({"tax_category", "tax_rate", "tax_reason"}, _tax(row)),
        (SHARED, _shares(row)),
        ({"cap", "quantity"}, _cap(row)),
        ({"valid_from", "valid_to"}, _days(row)),
        ({"weight_from", "weight_below"}, _weights(row)),
    ):
        if not columns & unread:
            yield from told
    yield from _words(row, sheets)


def _charge(row: PriceRow, sheets: Sheets) -> Iterator[str]:
    """What nothing leads to is never charged: a misspelt code would bill nobody, and nobody would see it."""
    known = sheets.known("services.csv", "charge") | sheets.known("charges.csv", "charge")
    if row.charge not in known:
        yield f'charge "{row.charge}" can be {", ".join(sorted(known))}'


def _days(row: PriceRow) -> Iterator[str]:
    if row.valid_to and row.valid_to < row.valid_from:
        yield "valid_to is before valid_from"


def _weights(row: PriceRow) -> Iterator[str]:
    if row.weight_from is not None and row.weight_below is not None and row.weight_from >= row.weight_below:
        yield "weight_from must be less than weight_below"


def _cap(row: PriceRow) -> Iterator[str]:
    if row.cap and row.quantity not in {"site", "procedure"}:
        yield "a cap needs the quantity site or procedure"


def _amount(row: PriceRow, currency: Currency | None) -> Iterator[str]:
    amount = row.amount or Decimal(0)
    if amount < 0:
        yield f"amount {amount} is negative"
    if amount >= MOST:
        yield f"amount {amount} is no price: it must be below {MOST:,}"
    if currency is None:
        return
    minor = amount.scaleb(currency.exponent)
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
