"""What a practice sets about its invoices into checked values, each fault kept with its place."""

from datetime import date
from decimal import Decimal
from typing import Any

from service.basics.errors import Fault
from service.basics.money import Currency
from service.billing.amounts import NET_FIRST, TAX_FIRST

Faults = list[Fault]
MOST = 1000


def gross_rounding(value: Any, where: str, faults: Faults) -> Any:
    """How prices that include tax are parted."""
    if value not in (NET_FIRST, TAX_FIRST):
        text = "grossRounding is net-first (net is rounded, tax is the rest) or tax-first (the other way round)."
        faults.append(Fault("value", text, where))
    return value


def coin(value: Any, where: str, faults: Faults, *, currency: Any) -> int:
    """The smallest coin in minor units; 0 for no rounding to coins."""
    if isinstance(value, (int, Decimal)) and not isinstance(value, bool) and isinstance(currency, Currency):
        minor = Decimal(value).scaleb(currency.exponent)
        if minor >= 0 and minor == minor.to_integral_value():
            return int(minor)
    faults.append(Fault("value", "cashStep is the smallest coin, in the practice's currency, such as 0.05.", where))
    return 0


def holidays(value: Any, where: str, faults: Faults) -> dict[date, str]:
    """Closed days with their names."""
    if not isinstance(value, dict):
        faults.append(Fault("value", 'holidays gives names by day, such as {"2026-12-24": "Christmas Eve"}.', where))
        return {}
    found: dict[date, str] = {}
    for day, name in value.items():
        try:
            found[date.fromisoformat(day)] = name.strip()
        except (ValueError, AttributeError):
            faults.append(Fault("value", "A holiday is a day such as 2026-12-24 with its name.", f"{where}.{day}"))
    return found


def hours(value: Any, where: str, faults: Faults) -> int | None:
    """How many hours before its appointment an order can still be revoked for nothing; None: always."""
    return _whole(value, where, faults, words="noShowHours is a whole number of hours, up to 1000.")


def days(value: Any, where: str, faults: Faults) -> int | None:
    """Within how many days of a full survey a recheck has its own price; None: always."""
    return _whole(value, where, faults, words="recheckDays is a whole number of days, up to 1000.")


def share(value: Any, where: str, faults: Faults) -> Decimal | None:
    """By how many per cent a bill may pass its estimate before somebody is told; None: nobody is."""
    if value is None:
        return None
    if isinstance(value, (int, Decimal)) and not isinstance(value, bool) and 0 <= value <= MOST:
        return Decimal(value)
    faults.append(Fault("value", "estimateShare is a percentage from 0 to 1000, such as 20.", where))
    return None


def _whole(value: Any, where: str, faults: Faults, *, words: str) -> int | None:
    if value is None or (isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= MOST):
        return value
    faults.append(Fault("value", words, where))
    return None
