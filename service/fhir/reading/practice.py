"""The settings text of an organisation into its Practice, or everything that is wrong with it."""

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from service.basics.errors import Fault, Invalid
from service.basics.money import Currency
from service.billing.practice import BillingProfile, Practice
from service.fhir import exact
from service.fhir.reading import billing_settings

Json = dict[str, Any]
Faults = list[Fault]

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
PROFILE = {"legalName": True, "address": True, "taxNumber": True, "terms": True, "bank": False}  # True: required
_CLOCK = re.compile(r"([01]\d|2[0-3]):([0-5]\d)|(24):(00)")
_LANGUAGE = re.compile(r"[a-z]{2,3}(-[A-Za-z0-9]{2,8})*")


def practice(settings_text: str, row: Practice, *, currencies: Mapping[str, Currency] | None = None) -> Practice:
    """The practice's row with what its own settings say instead; "" leaves the row as it is.

    settings_text is a JSON object: legalName, address, taxNumber, terms, bank (the billing profile: all but bank, or
    none), zone, opening ({"mon": ["08:00", "18:00"], ...}; a day left out is closed), currency, language, stills,
    clips, taxRounding (group or line), grossRounding (net-first or tax-first), cashStep (the smallest coin, such as
    0.05), holidays ({"2026-12-24": "name"}), noShowHours, estimateShare (percent), recheckDays, fluidCheckApart.
    Raises Invalid with all faults; an unknown key is one."""
    if not settings_text.strip():
        return row
    given = exact.decode(settings_text.encode())
    if not isinstance(given, dict):
        raise Invalid(Fault("structure", "The settings of a practice are one JSON object."))
    faults: Faults = []
    known = {**(currencies or {}), row.currency.code: row.currency}
    readers = _readers(known)
    for key in given.keys() - readers.keys() - PROFILE.keys():
        faults.append(Fault("invalid", f"Unknown setting. It can be: {', '.join([*PROFILE, *readers])}.", key))
    changes: dict[str, Any] = {}
    for key, (name, read) in readers.items():
        if key in given:
            changes[name] = read(given[key], key, faults)
    profile = _profile(given, faults) or row.profile
    if "cash_step" in changes:
        currency = changes.get("currency") or row.currency
        changes["cash_step"] = billing_settings.coin(given["cashStep"], "cashStep", faults, currency=currency)
    if faults:
        raise Invalid(*sorted(faults, key=lambda f: f.where))
    return replace(row, profile=profile, **changes)


Reader = Callable[[Any, str, Faults], Any]


def _readers(currencies: Mapping[str, Currency]) -> dict[str, tuple[str, Reader]]:
    return {
        "zone": ("zone", _zone),
        "opening": ("opening", _opening),
        "currency": ("currency", lambda value, where, faults: _currency(value, where, faults, known=currencies)),
        "language": ("language", _language),
        "stills": ("stills_owed", _flag),
        "clips": ("clips_owed", _flag),
        "taxRounding": ("tax_rounding", _rounding),
        "grossRounding": ("gross_rounding", billing_settings.gross_rounding),
        "cashStep": ("cash_step", lambda value, where, faults: value),
        "holidays": ("holidays", billing_settings.holidays),
        "noShowHours": ("no_show_hours", billing_settings.hours),
        "estimateShare": ("estimate_share", billing_settings.share),
        "recheckDays": ("recheck_days", billing_settings.days),
        "fluidCheckApart": ("fluid_check_apart", _flag),
    }


def _profile(given: Json, faults: Faults) -> BillingProfile | None:
    if not given.keys() & PROFILE.keys():
        return None
    for key, required in PROFILE.items():
        value = given.get(key, "")
        if not isinstance(value, str) or len(value) > 1000:
            faults.append(Fault("value", f"{key} is text of at most 1000 characters.", key))
        elif required and not value.strip():
            faults.append(Fault("required", f"A billing profile needs {key}: it stands on each invoice.", key))
    return BillingProfile(*(str(given.get(key, "")).strip() for key in PROFILE))


def _zone(value: Any, where: str, faults: Faults) -> Any:
    try:
        ZoneInfo(value if isinstance(value, str) and value else "-")
    except (ZoneInfoNotFoundError, ValueError, OSError):
        faults.append(Fault("value", 'zone is a name of the IANA time zone table, such as "Europe/Vienna".', where))
    return value


def _opening(value: Any, where: str, faults: Faults) -> tuple[tuple[int, int] | None, ...]:
    if not isinstance(value, dict) or value.keys() - set(DAYS):
        faults.append(Fault("value", f"opening gives hours by day: {', '.join(DAYS)}.", where))
        return ()
    return tuple(_hours(value.get(day), f"{where}.{day}", faults) for day in DAYS)


def _hours(value: Any, where: str, faults: Faults) -> tuple[int, int] | None:
    if value is None:
        return None
    times = value if isinstance(value, list) and len(value) == 2 else ["", ""]
    found = [_CLOCK.fullmatch(t) if isinstance(t, str) else None for t in times]
    minutes = [int(m[1] or m[3]) * 60 + int(m[2] or m[4]) for m in found if m]
    if len(minutes) != 2 or minutes[0] >= minutes[1]:
        faults.append(Fault("value", 'Hours are two times, opening before closing, such as ["08:00", "18:00"].', where))
        return None
    return minutes[0], minutes[1]


def _currency(value: Any, where: str, faults: Faults, *, known: Mapping[str, Currency]) -> Any:
    found = known.get(value) if isinstance(value, str) else None
    if found is None:
        faults.append(Fault("value", f"currency is one of {', '.join(sorted(known))}.", where))
    return found


def _language(value: Any, where: str, faults: Faults) -> Any:
    if not isinstance(value, str) or not _LANGUAGE.fullmatch(value):
        faults.append(Fault("value", 'language is a code such as "en" or "de-AT".', where))
    return value


def _flag(value: Any, where: str, faults: Faults) -> Any:
    if not isinstance(value, bool):
        faults.append(Fault("value", f"{where} is true or false.", where))
    return value


def _rounding(value: Any, where: str, faults: Faults) -> Any:
    if value not in ("group", "line"):
        faults.append(
            Fault("value", "taxRounding is group (tax of each rate's sum) or line (tax of each line).", where)
        )
    return value
