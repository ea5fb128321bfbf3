"""What a practice sets about itself: zone, hours, currency, what it wants kept, and its billing profile."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from service.basics.money import Currency
from service.billing.amounts import NET_FIRST


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
    """One practice row. opening: a (from, to) pair of minutes of the day per weekday, Monday first, None closed.

    holidays: closed days with their names. cash_step: the smallest coin in minor units, 0 for no cash rounding.
    no_show_hours: an order revoked later than so many hours before its appointment is a no-show; None: never.
    estimate_share: by how many per cent a bill may pass its estimate before somebody is told; None: nobody is.
    recheck_days: within how many days of a full survey a recheck has its own price; None: always. fluid_check_apart:
    whether a fluid check is charged beside a full survey of the same animal and day."""

    organization: str
    zone: str
    opening: tuple[tuple[int, int] | None, ...]
    currency: Currency
    language: str = "en"
    stills_owed: bool = True
    clips_owed: bool = True
    tax_rounding: str = "group"  # group or line
    profile: BillingProfile | None = None
    gross_rounding: str = NET_FIRST  # or tax-first: how a price that includes tax is parted
    cash_step: int = 0
    holidays: Mapping[date, str] = field(default_factory=dict)
    no_show_hours: int | None = None
    estimate_share: Decimal | None = None
    recheck_days: int | None = None
    fluid_check_apart: bool = True
