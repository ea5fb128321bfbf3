"""A unit price, a quantity and a discount into the exact amounts of one line, rounded half up to the minor unit."""

from dataclasses import dataclass
from decimal import Decimal

from service.basics.money import Money, round_minor

NET_FIRST, TAX_FIRST = "net-first", "tax-first"


@dataclass(frozen=True, slots=True)
class Amounts:
    """base + discount = net. tax is None where it is worked out by group; net + tax is then not yet known."""

    base: Money
    discount: Money  # zero or negative
    net: Money
    tax: Money | None = None


def times(unit: Money, factor: Decimal) -> Money:
    """An amount times a factor, rounded half up to the currency's minor unit (EN 16931 BT-131)."""
    return Money(round_minor(unit.minor * factor), unit.currency)


def share(amount: Money, percent: Decimal) -> Money:
    """So many percent of an amount, rounded half up (EN 16931 BR-CO-17 for tax)."""
    return Money(round_minor(amount.minor * percent / 100), amount.currency)


def net_priced(unit: Money, quantity: Decimal, *, off: Decimal = Decimal(0)) -> Amounts:
    """A price without tax: quantity times unit, less `off` percent; each of the two rounded."""
    base = times(unit, quantity)
    discount = -share(base, off)
    return Amounts(base, discount, base + discount)


def gross_priced(unit: Money, quantity: Decimal, *, rate: Decimal, how: str, off: Decimal = Decimal(0)) -> Amounts:
    """A price that includes tax: net and tax of the line always come to what was shown, less the discount.

    how: net-first (net is rounded, tax is the rest) or tax-first (tax is rounded, net is the rest)."""
    shown = times(unit, quantity)
    paid = shown + -share(shown, off)
    net, tax = split(paid, rate=rate, how=how)
    base = net if paid == shown else split(shown, rate=rate, how=how)[0]
    return Amounts(base, net + -base, net, tax)


def split(gross: Money, *, rate: Decimal, how: str) -> tuple[Money, Money]:
    """(net, tax) of an amount that includes tax, which they add up to."""
    if how == TAX_FIRST:
        tax = _fraction(gross, rate, 100 + rate)
        return gross + -tax, tax
    net = _fraction(gross, Decimal(100), 100 + rate)
    return net, gross + -net


def cash(gross: Money, step: int) -> Money:
    """What is added to an amount (or taken off it) so that it can be paid in coins of `step` minor units."""
    if step <= 1:
        return Money(0, gross.currency)
    paid = round_minor(Decimal(gross.minor) / step) * step
    return Money(paid - gross.minor, gross.currency)


def _fraction(amount: Money, top: Decimal, bottom: Decimal) -> Money:
    """amount x top / bottom half up, decided on whole numbers: a quotient cut at 28 digits could hide the half."""
    scale = Decimal(10) ** max(0, -_exponent(top), -_exponent(bottom))
    up, down = int(top * scale) * abs(amount.minor) * 2, int(bottom * scale)
    minor = (up + down) // (2 * down)
    return Money(minor if amount.minor >= 0 else -minor, amount.currency)


def _exponent(number: Decimal) -> int:
    exponent = number.as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0
