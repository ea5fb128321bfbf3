"""Billable charges and a price list into invoice lines, and the reason for each charge that stays without one."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal

from service.basics.money import Money
from service.billing.amounts import Amounts, gross_priced, net_priced, share
from service.billing.charge import Charge
from service.billing.hours import Start
from service.billing.invoice import Line, tax_on
from service.billing.practice import Practice
from service.billing.situation import Situation
from service.billing.tariff import Price, parts_of, price_in_force

ONE = Decimal(1)
COUNTED = frozenset({"site", "procedure"})


@dataclass(frozen=True, slots=True)
class Owed:
    """A line and who is to pay it: client, requester or insurer."""

    payer: str
    line: Line


@dataclass(frozen=True, slots=True)
class Priced:
    """lines in the order of the charges; unpriced: why, by the id of the charge; waived: what is not charged, and why.

    remarks: what a charge's price left out, in words."""

    lines: tuple[Owed, ...]
    unpriced: Mapping[str, str]
    waived: Mapping[str, str] = field(default_factory=dict)
    remarks: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _List:
    """The price list as it is on one day for one exam."""

    prices: tuple[Price, ...]
    practice: Practice
    on: date | None
    at: Situation

    def price(self, charge: Charge) -> Price | str:
        code, wanted = charge.identity.code, self.practice.currency
        if self.on is None:
            return "The day on which the exam began is not known, so no price is in force."
        price = price_in_force(
            self.prices, code, organization=charge.identity.organization, on=self.on, at=self.at
        )  # fmt: skip
        if not isinstance(price, str) and price.unit.currency != wanted:
            return f"The price of {code} is in {price.unit.currency.code}, the practice bills in {wanted.code}."
        return price

    def rows(self, price: Price) -> Sequence[Price]:
        """The row itself, or the parts of the bundle that it is."""
        return (parts_of(self.prices, price, on=self.on) if self.on else ()) or [price]


def priced(
    charges: Sequence[Charge],
    prices: Iterable[Price],
    *,
    practice: Practice,
    began: Start,
    exam_code: str,
    at: Situation | None = None,
) -> Priced:
    """Lines for the charges at the prices in force on the day the exam began.

    Add-ons wait for their exam line: an invoice never shows the extras of an exam that it does not show. A surcharge
    waits for all that it may be a share of."""
    listed = _List(tuple(prices), practice, began.day, at or Situation(scope=exam_code))
    found = {c.id: listed.price(c) for c in charges}
    why = {id_: price for id_, price in found.items() if isinstance(price, str)}
    rows = {id_: price for id_, price in found.items() if not isinstance(price, str)}
    if any(c.identity.code == exam_code and c.id in why for c in charges):
        why |= dict.fromkeys(rows, f"It waits for the price of {exam_code}.")
        return Priced((), _ordered(charges, why))
    waived = _excluded([c for c in charges if c.id in rows], rows)
    kept = [c for c in charges if c.id in rows and c.id not in waived]
    plain = {c.id: _lines(c, rows[c.id], listed) for c in kept if rows[c.id].surcharge is None}
    shares = [c for c in kept if rows[c.id].surcharge is not None]
    if shares and why:
        first = next(c.identity.code for c in charges if c.id in why)
        why |= {c.id: f"It waits for the price of {first}." for c in shares}
        shares = []
    bases = [(rows[id_].kind, owed.line) for id_, made in plain.items() for owed in made]
    plain |= {c.id: _surcharged(c, rows[c.id], bases, practice) for c in shares}
    waived |= {c.id: "Not charged: nothing that it is a share of is charged." for c in shares if not plain[c.id]}
    lines = [owed for c in charges for owed in plain.get(c.id, ())]
    remarks = {c.id: _capped(c, rows[c.id]) for c in kept if _capped(c, rows[c.id])}
    return Priced(tuple(lines), _ordered(charges, why), waived, remarks)


def _ordered(charges: Sequence[Charge], why: Mapping[str, str]) -> Mapping[str, str]:
    return {c.id: why[c.id] for c in charges if c.id in why}


def _excluded(charges: Sequence[Charge], rows: Mapping[str, Price]) -> dict[str, str]:
    """The charges that give way, and to what: those that exclude nothing themselves stay first."""
    kept: list[str] = []
    waived: dict[str, str] = {}
    for charge in sorted(charges, key=lambda c: bool(rows[c.id].exclusive_with)):
        row = rows[charge.id]
        others = [code for code in kept if code in row.exclusive_with]
        if others:
            waived[charge.id] = f"Not charged together with {others[0]}."
        else:
            kept.append(charge.identity.code)
    return waived


def _lines(charge: Charge, price: Price, listed: _List) -> list[Owed]:
    return [_line(charge, row, listed.practice, payer=price.payer) for row in listed.rows(price)]


def _line(charge: Charge, price: Price, practice: Practice, *, payer: str) -> Owed:
    quantity = _quantity(charge, price)
    line = _drawn(charge, price, practice, quantity=quantity, amounts=_amounts(price, quantity, practice))
    return Owed(payer, replace(line, basis=price.basis, outside=price.kind == "outside"))


def _drawn(charge: Charge, price: Price, practice: Practice, *, quantity: Decimal, amounts: Amounts) -> Line:
    """The line of a price with its amounts; its place on an invoice comes later."""
    return Line(
        sequence=0,
        charge=charge.id,
        code=price.code,
        text=price.text,
        quantity=quantity,
        net=amounts.net,
        rate=price.tax,
        tax=_tax(amounts, price, practice),
        discount=amounts.discount if price.discount else None,
        discount_reason=price.discount.reason if price.discount else "",
    )


def _amounts(price: Price, quantity: Decimal, practice: Practice) -> Amounts:
    off = price.discount.percent if price.discount else Decimal(0)
    if price.basis == "gross":
        return gross_priced(price.unit, quantity, rate=price.tax.rate, how=practice.gross_rounding, off=off)
    return net_priced(price.unit, quantity, off=off)


def _tax(amounts: Amounts, price: Price, practice: Practice) -> Money | None:
    by_line = practice.tax_rounding == "line"
    return tax_on(amounts.net, price.tax.rate) if amounts.tax is None and by_line else amounts.tax


def _surcharged(
    charge: Charge, price: Price, bases: Sequence[tuple[str, Line]], practice: Practice
) -> list[Owed]:  # fmt: skip
    """The one line of a percentage surcharge, with what it is a share of; none when that is nothing."""
    of = [line.net for kind, line in bases if price.surcharge and kind in price.surcharge.of]
    if not of or price.surcharge is None:
        return []
    base = sum(of[1:], start=of[0])
    unit = share(base, price.surcharge.percent)
    off = price.discount.percent if price.discount else Decimal(0)
    line = _drawn(charge, price, practice, quantity=ONE, amounts=net_priced(unit, ONE, off=off))
    line = replace(line, surcharge=price.surcharge.percent, surcharge_base=base)
    return [Owed(price.payer, line)]


def _quantity(charge: Charge, price: Price) -> Decimal:
    if price.quantity not in COUNTED:
        return ONE
    return Decimal(min(charge.quantity, price.cap or charge.quantity))


def _capped(charge: Charge, price: Price) -> str:
    billed = _quantity(charge, price)
    if price.quantity in COUNTED and billed < charge.quantity:
        return f"{charge.quantity} were performed; the price list charges at most {billed}."
    return ""
