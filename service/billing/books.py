"""Issued invoices and credits, one after another, into what they come to: by currency, and by rate of tax."""

from dataclasses import dataclass, field
from decimal import Decimal

from service.basics.money import Currency, Money

COUNTED = frozenset({"issued", "balanced"})  # what is owed or was paid; a draft is neither


@dataclass(frozen=True, slots=True)
class Rated:
    """What an invoice says of one rate of tax (percent): the amount that is taxed, and the tax."""

    category: str
    rate: Decimal
    base: Money
    tax: Money


@dataclass(frozen=True, slots=True)
class Booked:
    """One invoice or credit as the books have it; date is the local day; amounts of a credit are negative.

    exam is the id of the exam's Task, credited the number of the invoice that a credit takes back. Both are "" when
    there is none. rates are empty for an invoice that was written by hand without them. cash: what rounding to coins
    adds, and stated what the invoice itself says is due; None where it says neither."""

    id: str
    date: str
    number: str
    kind: str
    status: str
    payer: str
    animal: str
    exam: str
    credited: str
    net: Money
    gross: Money
    rates: tuple[Rated, ...] = ()
    cash: Money | None = None
    stated: Money | None = None

    @property
    def tax(self) -> Money:
        """gross less net."""
        return self.gross + -self.net

    @property
    def rounding(self) -> Money:
        """What rounding to coins adds, nothing where there is none."""
        return self.cash if self.cash is not None else Money(0, self.gross.currency)

    @property
    def due(self) -> Money:
        """gross plus the rounding to coins (EN 16931 BR-CO-16: nothing is paid beforehand)."""
        return self.gross + self.rounding

    @property
    def faults(self) -> tuple[str, ...]:
        """What does not add up within the invoice itself."""
        found = []
        if self.rates and self.net.minor != sum(r.base.minor for r in self.rates):
            found.append("the amounts by rate of tax do not come to the net total")
        if self.rates and self.tax.minor != sum(r.tax.minor for r in self.rates):
            found.append("the tax by rate does not come to the difference of gross and net")
        if self.stated is not None and self.stated != self.due:
            found.append("the amount due is not the gross total plus the rounding to coins")
        return tuple(found)


@dataclass(slots=True)
class Sum:
    """Exact sums of one currency, in minor units: how many invoices and credits, and what they come to."""

    currency: Currency
    invoices: int = 0
    credits: int = 0
    net: int = 0
    tax: int = 0
    gross: int = 0
    cash: int = 0
    rates: dict[tuple[str, Decimal], tuple[int, int]] = field(default_factory=dict)

    def add(self, one: Booked) -> None:
        """Count one more."""
        self.credits += one.kind == "credit"
        self.invoices += one.kind != "credit"
        self.net += one.net.minor
        self.tax += one.tax.minor
        self.gross += one.gross.minor
        self.cash += one.rounding.minor
        for rated in one.rates:
            key = (rated.category, rated.rate.normalize())
            base, tax = self.rates.get(key, (0, 0))
            self.rates[key] = (base + rated.base.minor, tax + rated.tax.minor)

    @property
    def due(self) -> int:
        """gross plus the rounding to coins."""
        return self.gross + self.cash

    def money(self, minor: int) -> Money:
        """Minor units of this currency."""
        return Money(minor, self.currency)


class Sums:
    """What a stretch of time comes to, a Sum for each currency."""

    def __init__(self) -> None:
        self._by_currency: dict[str, Sum] = {}

    def add(self, one: Booked) -> None:
        """Count one more; what is neither issued nor balanced is left aside."""
        if one.status in COUNTED:
            currency = one.net.currency
            self._by_currency.setdefault(currency.code, Sum(currency)).add(one)

    def all(self) -> list[Sum]:
        """By currency, in order of their codes."""
        return [self._by_currency[code] for code in sorted(self._by_currency)]
