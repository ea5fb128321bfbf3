"""FHIR date, dateTime, instant, Period or Timing -> microseconds since the epoch, first and last inclusive."""

import re
from calendar import isleap, monthrange
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any

EARLIEST = -62_135_596_800_000_000  # 0001-01-01T00:00Z, an open start
LATEST = 253_402_300_799_999_999  # 9999-12-31T23:59:59.999999Z, an open end

_TEXT = re.compile(
    r"(\d{4})(?:-(\d\d)(?:-(\d\d)(?:T(\d\d):(\d\d)(?::(\d\d)(\.\d+)?)?(Z|[+-]\d\d:\d\d)?)?)?)?", re.ASCII
)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_DAY = 86_400_000_000

Range = tuple[int, int]


@lru_cache(maxsize=4096)
def of_text(text: str) -> Range | None:
    """The stretch that a date of any precision covers, a time without zone taken as UTC; None when it is no date."""
    match = _TEXT.fullmatch(text)
    if match is None:
        return None
    year, month, day, hour, minute, second, fraction, zone = match.groups()
    try:
        start = datetime(int(year), int(month or 1), int(day or 1), int(hour or 0), int(minute or 0), tzinfo=UTC)
        low = (start - _EPOCH) // _MICROSECOND - _offset(zone)
    except ValueError:
        return None
    if second is not None:
        if int(second) > 60:
            return None
        low += int(second) * 1_000_000
    width = _width(start, month=month, day=day, hour=hour, second=second)
    if fraction is not None:
        more, width = _fraction(fraction)
        low += more
    return max(low, EARLIEST), min(low + width, LATEST)


def _offset(zone: str | None) -> int:
    if zone in (None, "Z"):
        return 0
    hours, minutes = int(zone[1:3]), int(zone[4:6])
    if minutes > 59 or hours > 14:
        raise ValueError(zone)
    return (-1 if zone[0] == "-" else 1) * (hours * 60 + minutes) * 60_000_000


def _width(start: datetime, *, month: str | None, day: str | None, hour: str | None, second: str | None) -> int:
    """Microseconds that the precision given covers, less one."""
    if second is not None:
        return 999_999
    if hour is not None:
        return 59_999_999
    if day is not None:
        return _DAY - 1
    if month is not None:
        return monthrange(start.year, start.month)[1] * _DAY - 1
    return (366 if isleap(start.year) else 365) * _DAY - 1


def _fraction(text: str) -> Range:
    """(microseconds, microseconds that its precision covers less one) of a fraction such as .12"""
    digits = text[1:7]
    return int(digits.ljust(6, "0")), 10 ** (6 - len(digits)) - 1


def of_period(period: dict[str, Any]) -> Range | None:
    """From the first moment of start to the last of end; what is not given is open."""
    start, end = of_text(str(period.get("start", ""))), of_text(str(period.get("end", "")))
    if start is None and end is None:
        return None
    return (start[0] if start else EARLIEST, end[1] if end else LATEST)


def of_timing(timing: dict[str, Any]) -> Range | None:
    """From the first to the last of its events, or its bounds."""
    events = [r for r in (of_text(str(e)) for e in timing.get("event", ()) if e) if r]
    if events:
        return min(r[0] for r in events), max(r[1] for r in events)
    return of_period(timing.get("repeat", {}).get("boundsPeriod", {}))


def of(value: Any) -> Range | None:
    """The stretch of a dateTime, Period or Timing as it stands in a resource; None when it says no time."""
    if isinstance(value, str):
        return of_text(value)
    if not isinstance(value, dict):
        return None
    return of_period(value) if "start" in value or "end" in value else of_timing(value)
