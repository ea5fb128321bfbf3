"""Priced charges into an invoice: rounded lines, tax per rate, totals that add up to the last unit."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from service.basics.money import Currency, Money, round_minor
from service.billing.practice import BillingProfile


@dataclass(frozen=True, slots=True)
class Payer:
    """The one who is billed: a reference such as "RelatedPerson/<id>", and the name to print."""

    reference: str
    name: str = ""


@dataclass(frozen=True, slots=True)
class Performed:
    """What each line says of the exam, and nothing clinical: animal, local day, performer, id of the exam's Task."""

    exam: str
    animal: str
    animal_name: str
    day: str
    performer: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One line. net is rounded; quantity and net are negative on a credit; tax only where tax is rounded by line.

    charge is the ChargeItem's id; credits is the sequence of the line that this one takes back, 0 for none."""

    sequence: int
    charge: str
    code: str
    text: str
    quantity: Decimal
    net: Money
    tax_rate: Decimal
    tax: Money | None = None
    credits: int = 0


@dataclass(frozen=True, slots=True)
class TaxGroup:
    """All lines of one tax rate (percent): what they come to, and the tax on it."""

    rate: Decimal
    base: Money
    tax: Money


@dataclass(frozen=True, slots=True)
class Invoice:
    """One issued invoice or credit. issued is an instant; rounding is group or line.

    credits is the id of the invoice that a credit takes back, "" on an invoice."""

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

    @property
    def net(self) -> Money:
        """The sum of the lines' net."""
        return add(line.net for line in self.lines)

    @property
    def tax(self) -> Money:
        """The sum of the groups' tax."""
        return add(group.tax for group in self.groups)

    @property
    def gross(self) -> Money:
        """net plus tax."""
        return self.net + self.tax


def line_net(unit: Money, quantity: Decimal) -> Money:
    """Unit price times quantity, rounded half up to the currency's minor unit (EN 16931 BT-131)."""
    return Money(round_minor(unit.minor * quantity), unit.currency)


def tax_on(net: Money, rate: Decimal) -> Money:
    """net x rate / 100, rounded half up to the currency's minor unit (EN 16931 BR-CO-17)."""
    return Money(round_minor(net.minor * rate / 100), net.currency)


def tax_groups(lines: Sequence[Line], rounding: str) -> tuple[TaxGroup, ...]:
    """The tax of each rate, lowest rate first: of the group's base, or (rounding "line") the sum of its lines' tax."""
    groups = []
    for rate in sorted({line.tax_rate for line in lines}):
        members = [line for line in lines if line.tax_rate == rate]
        base = add(line.net for line in members)
        by_line = add(tax_on(line.net, rate) for line in members)
        groups.append(TaxGroup(rate, base, by_line if rounding == "line" else tax_on(base, rate)))
    return tuple(groups)


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
