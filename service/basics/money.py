"""Money as a whole number of minor units, with its ISO 4217 currency."""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

MOST = Decimal(1_000_000_000)  # of the major unit: above every price of the trade, and sums of such stay exact


@dataclass(frozen=True, slots=True)
class Currency:
    """An ISO 4217 code and its exponent: 0 (JPY), 2 (EUR) or 3 (BHD)."""

    code: str
    exponent: int


@dataclass(frozen=True, slots=True)
class Money:
    """minor units (an int, may be negative) of one currency."""

    minor: int
    currency: Currency

    def decimal(self) -> Decimal:
        """The amount in major units with exactly the currency's digits: 1999 EUR -> Decimal("19.99")."""
        return Decimal(self.minor).scaleb(-self.currency.exponent)

    def __add__(self, other: "Money") -> "Money":
        if self.currency != other.currency:
            raise ValueError(f"{self.currency.code} and {other.currency.code} do not add up")
        return Money(self.minor + other.minor, self.currency)

    def __neg__(self) -> "Money":
        return Money(-self.minor, self.currency)


def round_minor(amount: Decimal) -> int:
    """An exact amount of minor units rounded half up, away from zero at the half (EN 16931 BR-CO-17)."""
    return int(amount.quantize(Decimal(1), rounding=ROUND_HALF_UP))
