"""A date value with its prefix -> the bounds that a resource's stretch of time must keep (R4, search, prefixes)."""

import time

from service.basics.query import Period, Updated
from service.fhir import moments

PREFIXES = ("eq", "ne", "gt", "lt", "ge", "le", "sa", "eb", "ap")


def split(value: str) -> tuple[str, moments.Range | None]:
    """(prefix, stretch of the value); None when what follows the prefix is no date."""
    prefix = value[:2] if value[:2] in PREFIXES else ""
    # A plus sign that was not encoded arrives as a space.
    stretch = moments.of_text(value[len(prefix) :].replace(" ", "+"))
    return prefix or "eq", _near(stretch) if prefix == "ap" and stretch else stretch


def _near(stretch: moments.Range) -> moments.Range:
    """Widened by a tenth of how far it lies from now, as R4 recommends."""
    now = time.time_ns() // 1000
    margin = abs(now - stretch[0]) // 10
    return stretch[0] - margin, stretch[1] + margin


def periods(key: int, prefix: str, stretch: moments.Range) -> tuple[Period, ...]:
    """The periods one of which must hold for a resource to match."""
    low, high = stretch
    inside = Period(key, low_from=low, low_to=high, high_to=high)  # low_to follows, and ends the index's range
    before, after = Period(key, low_to=low - 1), Period(key, high_from=high + 1)
    by_prefix = {
        "eq": (inside,),
        "ne": (before, after),
        "gt": (after,),
        "lt": (before,),
        "ge": (inside, after),
        "le": (inside, before),
        "sa": (Period(key, low_from=high + 1),),
        "eb": (Period(key, high_to=low - 1),),
        "ap": (Period(key, low_to=high, high_from=low),),
    }
    return by_prefix[prefix]


def updated(prefix: str, stretch: moments.Range) -> Updated | None:
    """The same for meta.lastUpdated, which is one instant; None for ne, which is no single stretch."""
    low, high = stretch
    by_prefix = {
        "eq": Updated(low, high),
        "ap": Updated(low, high),
        "gt": Updated(high + 1, None),
        "sa": Updated(high + 1, None),
        "lt": Updated(None, low - 1),
        "eb": Updated(None, low - 1),
        "ge": Updated(low, None),
        "le": Updated(None, high),
    }
    return by_prefix.get(prefix)
