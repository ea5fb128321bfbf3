"""The price list."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.basics.money import Money


@dataclass(frozen=True, slots=True)
class Price:
    """One row: a charge code's net price while it is valid. organization "*" holds for all that have no row of their own.

    tax_rate is in percent; valid_to is the last day, None while open; trigger says what an exam must show for an add-on
    ("" for exam lines): doppler, sedation, out-of-hours."""

    code: str
    text: str
    net: Money
    tax_rate: Decimal
    valid_from: date
    valid_to: date | None = None
    organization: str = "*"
    trigger: str = ""
