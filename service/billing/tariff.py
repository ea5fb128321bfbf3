"""The price list."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.basics.money import Money


@dataclass(frozen=True, slots=True)
class Price:
    """One row: a charge code's net price while it is valid.

    organization "*" holds for all that have no row of their own.

    tax_rate is in percent; valid_to is the last day, None while open; trigger says what an exam must show for an
    add-on ("" for exam lines): doppler, sedation, out-of-hours."""

    code: str
    text: str
    net: Money
    tax_rate: Decimal
    valid_from: date
    valid_to: date | None = None
    organization: str = "*"
    trigger: str = ""


def price_in_force(prices: Iterable[Price], code: str, *, organization: str, on: date) -> Price | None:
    """The price of a charge code on a day; None when the list has none.

    An organisation that has any row of its own for the code is never given the price of "*": an expired own price
    is a missing price, not somebody else's."""
    rows = [p for p in prices if p.code == code and p.organization in {organization, "*"}]
    own = [p for p in rows if p.organization == organization]
    found = [p for p in own or rows if p.valid_from <= on and (p.valid_to is None or on <= p.valid_to)]
    return found[0] if len(found) == 1 else None  # two at once is a fault of the list: nobody guesses which


def add_on(prices: Iterable[Price], trigger: str, *, organization: str) -> tuple[str, str]:
    """The charge code and text that an organisation's list ties to a trigger; the trigger itself when it has none,

    so that what was performed is charged or listed, never forgotten."""
    rows = [p for p in prices if p.trigger == trigger and p.organization in {organization, "*"}]
    own = [p for p in rows if p.organization == organization] or rows
    if not own:
        return trigger, trigger.replace("-", " ").capitalize()
    latest = max(own, key=lambda p: p.valid_from)
    return latest.code, latest.text
