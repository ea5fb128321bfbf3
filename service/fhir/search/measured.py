"""Dates, numbers and quantities asked for -> the criterion: stretches that marks must fit."""

import re
from decimal import Decimal

from service.basics.query import AnyPeriod, Criterion, Period
from service.fhir import uris
from service.fhir.search import amounts, dates
from service.fhir.search.asked import Asked, BadValue
from service.fhir.search.quantities import PLAIN, kept
from service.fhir.search.units import UNITS
from service.fhir.search.values import bars, unescaped

_NUMBER = re.compile(r"[+-]?\d{1,30}(\.\d{1,30})?([eE][+-]?\d{1,3})?", re.ASCII)
_MOST = 15


def date(asked: Asked) -> Criterion:
    """Stretches of time, by prefix."""
    asked.only()
    found: list[Period] = []
    for value in asked.values:
        prefix, stretch = dates.split(unescaped(value))
        if stretch is None:
            raise BadValue(f"{asked.row.code} needs a date such as 2026-11-25, ge2026-11 or lt2026-11-25T13:04:29Z")
        found += dates.periods(asked.key(""), prefix, stretch)
    return AnyPeriod(tuple(found))


def number(asked: Asked) -> Criterion:
    """Numbers, by prefix; the digits given say how exactly."""
    asked.only()
    found: list[Period] = []
    for value in asked.values:
        prefix, wanted = counted(asked.row.code, unescaped(value))
        found += amounts.periods(asked.key(PLAIN), prefix, wanted, Decimal(1))
    return AnyPeriod(tuple(found))


def quantity(asked: Asked) -> Criterion:
    """Numbers with or without a unit: value, value|system|code or value||code."""
    asked.only()
    found: list[Period] = []
    for value in asked.values:
        prefix, wanted, units = amount(asked.row.code, value)
        for unit, factor in units:
            found += amounts.periods(asked.key(unit), prefix, wanted, factor)
    return AnyPeriod(tuple(found))


def amount(name: str, value: str) -> tuple[str, Decimal, list[tuple[str, Decimal]]]:
    """(prefix, number, the keys of units that it may be kept under, each with its factor) of one value."""
    parts = bars(value)
    if len(parts) not in (1, 3):
        raise BadValue(f"{name} needs a number, number|system|code or number||code")
    prefix, wanted = counted(name, parts[0])
    if len(parts) == 1 or not parts[2]:
        if len(parts) == 3 and parts[1]:
            raise BadValue(f"{name} needs a code beside the system {parts[1]}")
        return prefix, wanted, [(PLAIN, Decimal(1))]
    if parts[1]:
        return prefix, wanted, [kept(parts[1], parts[2])]
    units = [kept(None, parts[2])]
    return prefix, wanted, [*units, kept(uris.UCUM, parts[2])] if parts[2] in UNITS else units


def counted(name: str, text: str) -> tuple[str, Decimal]:
    """(prefix, number) of a value; raises BadValue when it is none."""
    prefix = text[:2] if text[:2] in amounts.PREFIXES else ""
    digits = text[len(prefix) :]
    if not _NUMBER.fullmatch(digits):
        raise BadValue(f"{name} needs a number such as 7.0, ge5.4 or lt1e3")
    found = Decimal(digits)
    if len(found.as_tuple().digits) > _MOST or abs(found.adjusted()) > 300:
        raise BadValue(f"{name} takes numbers of at most {_MOST} digits")
    return prefix or "eq", found
