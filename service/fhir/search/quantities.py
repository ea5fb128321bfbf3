"""Quantities and numbers of a resource -> marks in the unit that the index keeps for each kind of unit."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from service.fhir import uris
from service.fhir.search.amounts import stretch, times
from service.fhir.search.found import Found
from service.fhir.search.units import UNITS

PLAIN = ""
"""The key of the number as it stands, whatever its unit."""


def read_number(parameter: str, value: Any, found: Found) -> None:
    """A decimal or integer."""
    found.stretch(parameter, PLAIN, stretch(value))


def read_quantity(parameter: str, value: Any, found: Found) -> object:
    """A Quantity or Money; False without a value."""
    number = value.get("value")
    if number is None:
        return False
    found.stretch(parameter, PLAIN, stretch(number))
    for unit, factor in kept_units(value):
        found.stretch(parameter, unit, stretch(number if factor == 1 else times(number, factor)))
    return None


def kept_units(value: dict[str, Any]) -> Iterator[tuple[str, Decimal]]:
    """(key of the unit, factor) under which a Quantity or Money is kept besides its plain number."""
    if "currency" in value:
        yield kept(uris.CURRENCY, value["currency"])
        yield kept(None, value["currency"])
        return
    code, system, unit = value.get("code"), value.get("system"), value.get("unit")
    known = code is not None and system == uris.UCUM and code in UNITS
    if code is not None and known:
        yield kept(uris.UCUM, code)
    elif code is not None:
        yield kept(system or "", code)
        yield kept(None, code)
    if unit is not None and unit != code and not (known and unit in UNITS):
        yield kept(None, unit)


def kept(system: str | None, code: str) -> tuple[str, Decimal]:
    """(key of a unit, factor to it); a system of None is a code or unit whatever its system."""
    if system == uris.UCUM and code in UNITS:
        kind, factor = UNITS[code]
        return f"{uris.UCUM}|{kind}", factor
    return (f"|{code}" if system is None else f"{system}|{code}"), Decimal(1)


def read_range(parameter: str, value: Any, found: Found) -> object:
    """A Range, found by its plain numbers; False without any."""
    low, high = value.get("low", {}).get("value"), value.get("high", {}).get("value")
    first = low if low is not None else high
    if first is None:
        return False
    last = high if high is not None else low
    found.stretch(parameter, PLAIN, (stretch(first)[0], stretch(last)[1]))
    return None
