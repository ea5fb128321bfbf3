"""Billable charges and a price list into invoice lines, and the reason for each charge that stays without one."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from service.billing.charge import Charge
from service.billing.hours import Start
from service.billing.invoice import Line, line_net, tax_on
from service.billing.practice import Practice
from service.billing.tariff import Price, price_in_force

ONE = Decimal(1)


@dataclass(frozen=True, slots=True)
class Priced:
    """lines in the order of the charges; unpriced: why, by the id of the charge."""

    lines: tuple[Line, ...]
    unpriced: Mapping[str, str]


def priced(
    charges: Sequence[Charge], prices: Iterable[Price], *, practice: Practice, began: Start, exam_code: str
) -> Priced:
    """One line per charge at the price in force on the day the exam began.

    Add-ons wait for their exam line: an invoice never shows the extras of an exam that it does not show."""
    listed = tuple(prices)
    found = {c.id: _price(c, listed, practice=practice, began=began) for c in charges}
    waiting = any(c.identity.code == exam_code and isinstance(found[c.id], str) for c in charges)
    lines: list[Line] = []
    why: dict[str, str] = {}
    for charge in charges:
        price = found[charge.id]
        if isinstance(price, str):
            why[charge.id] = price
        elif waiting:
            why[charge.id] = f"It waits for the price of {exam_code}."
        else:
            lines.append(_line(charge, price, sequence=len(lines) + 1, by_line=practice.tax_rounding == "line"))
    return Priced(tuple(lines), why)


def _price(charge: Charge, prices: Sequence[Price], *, practice: Practice, began: Start) -> Price | str:
    code, wanted = charge.identity.code, practice.currency.code
    if began.day is None:
        return "The day on which the exam began is not known, so no price is in force."
    price = price_in_force(prices, code, organization=charge.identity.organization, on=began.day)
    if price is None:
        return f"The price list has no price for {code} on {began.day.isoformat()}."
    if price.net.currency != practice.currency:
        return f"The price of {code} is in {price.net.currency.code}, the practice bills in {wanted}."
    return price


def _line(charge: Charge, price: Price, *, sequence: int, by_line: bool) -> Line:
    net = line_net(price.net, ONE)
    tax = tax_on(net, price.tax_rate) if by_line else None
    return Line(sequence, charge.id, charge.identity.code, price.text, ONE, net, price.tax_rate, tax)
