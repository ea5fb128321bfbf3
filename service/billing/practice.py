"""What a practice sets about itself: zone, hours, currency, what it wants kept, and its billing profile."""

from dataclasses import dataclass

from service.basics.money import Currency


@dataclass(frozen=True, slots=True)
class BillingProfile:
    """Who sells, as it stands on each invoice."""

    legal_name: str
    address: str
    tax_number: str
    terms: str
    bank: str = ""


@dataclass(frozen=True, slots=True)
class Practice:
    """One practice row. opening: a (from, to) pair of minutes of the day per weekday, Monday first, None closed."""

    organization: str
    zone: str
    opening: tuple[tuple[int, int] | None, ...]
    currency: Currency
    language: str = "en"
    stills_owed: bool = True
    clips_owed: bool = True
    tax_rounding: str = "group"  # group or line
    profile: BillingProfile | None = None
