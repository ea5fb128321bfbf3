"""Priced charges into an invoice: rounded lines, tax per group, totals that add up to the last unit."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from service.basics.money import Currency, Money
from service.billing.amounts import NET_FIRST, share
from service.billing.invoice_words import DEFAULT
from service.billing.practice import BillingProfile
from service.billing.tariff import Tax


@dataclass(frozen=True, slots=True)
class Payer:
    """The one who is billed: a reference such as "RelatedPerson/<id>", and what is printed: name, address by lines."""

    reference: str
    name: str = ""
    address: str = ""
    tax_number: str = ""


@dataclass(frozen=True, slots=True)
class Performed:
    """What each line says of the exam, and nothing clinical: animal, local day, performer, id of the exam's Task.

    hours: in or out of opening hours, "" when that could not be judged."""

    exam: str
    animal: str
    animal_name: str
    day: str
    performer: str = ""
    hours: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One line: base + discount = net, all rounded; on a credit quantity and amounts are negative.

    tax only where it is rounded by line or the price includes it (basis gross). charge is the ChargeItem's id. A
    surcharge (percent) is that share of surcharge_base. credits: the sequence of the line that this one takes back.
    authorisation: the number under which an insurer pays it; payer_reason: why he does not, where one was hoped for."""

    sequence: int
    charge: str
    code: str
    text: str
    quantity: Decimal
    net: Money
    rate: Tax
    tax: Money | None = None
    discount: Money | None = None  # None: no discount was agreed
    discount_reason: str = ""
    basis: str = "net"
    outside: bool = False
    surcharge: Decimal | None = None
    surcharge_base: Money | None = None
    credits: int = 0
    authorisation: str = ""
    payer_reason: str = ""

    @property
    def base(self) -> Money:
        """What the line comes to before its discount."""
        return self.net + -self.discount if self.discount is not None else self.net

    @property
    def shown(self) -> Money:
        """The line's amount in the basis of its price: with tax where the price includes it."""
        return self.net + self.tax if self.basis == "gross" and self.tax is not None else self.net


@dataclass(frozen=True, slots=True)
class TaxGroup:
    """All lines of one tax: what they come to, and the tax on it."""

    rate: Tax
    base: Money
    tax: Money


@dataclass(frozen=True, slots=True)
class Invoice:
    """One issued invoice or credit. issued is an instant; rounding is group or line; gross net-first or tax-first.

    cash is what rounding to coins adds; language is the one it is printed in. credits is the id of the invoice that a
    credit takes back, "" on an invoice. cover: the Coverage that a direct claim rests on, as a reference, or ""."""

    id: str
    number: str
    issued: str
    seller: BillingProfile
    payer: Payer
    performed: Performed
    rounding: str
    lines: tuple[Line, ...]
    groups: tuple[TaxGroup, ...]
    credits: str = ""
    credited_number: str = ""
    gross_rounding: str = NET_FIRST
    cash: Money | None = None
    language: str = DEFAULT
    cover: str = ""

    @property
    def net(self) -> Money:
        """The sum of the lines' net (EN 16931 BT-106, and BT-109: there are no allowances of the whole)."""
        return add(line.net for line in self.lines)

    @property
    def tax(self) -> Money:
        """The sum of the groups' tax (BT-110)."""
        return add(group.tax for group in self.groups)

    @property
    def gross(self) -> Money:
        """net plus tax (BT-112)."""
        return self.net + self.tax

    @property
    def due(self) -> Money:
        """What is to be paid: gross plus the rounding to coins (BT-115)."""
        return self.gross + self.cash if self.cash is not None else self.gross


def tax_on(net: Money, rate: Decimal) -> Money:
    """net x rate / 100, rounded half up to the currency's minor unit (EN 16931 BR-CO-17)."""
    return share(net, rate)


def tax_groups(lines: Sequence[Line], rounding: str) -> tuple[TaxGroup, ...]:
    """The tax of each category and rate, lowest rate first: of the group's base, or the sum of its lines' tax.

    A line that has its own tax keeps it: so do all with rounding "line", and those whose price includes tax."""
    groups = []
    for rate in sorted({line.rate for line in lines}):
        members = [line for line in lines if line.rate == rate]
        base = add(line.net for line in members)
        nothing = Money(0, base.currency)
        own = [_own_tax(line, rounding) for line in members]
        rest = sum((line.net for line, tax in zip(members, own, strict=True) if tax is None), start=nothing)
        groups.append(TaxGroup(rate, base, add([tax_on(rest, rate.rate), *(t for t in own if t is not None)])))
    return tuple(groups)


def _own_tax(line: Line, rounding: str) -> Money | None:
    if line.tax is None and rounding == "line":
        return tax_on(line.net, line.rate.rate)
    return line.tax


def currency_of(lines: Sequence[Line]) -> Currency:
    """The one currency of an invoice's lines; ValueError when there is none or more than one."""
    found = {line.net.currency for line in lines}
    if len(found) != 1:
        raise ValueError("an invoice has at least one line and exactly one currency")
    return found.pop()


def add(amounts: Iterable[Money]) -> Money:
    """The exact sum of at least one amount of one currency."""
    first, *rest = amounts
    return sum(rest, start=first)
