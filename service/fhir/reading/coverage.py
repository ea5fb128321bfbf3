"""The Coverages of an animal into the one that holds on a day, and what its insurer has authorised."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from service.basics.errors import Invalid
from service.basics.money import Currency
from service.billing.authorisation import Authorisation, Insurance
from service.fhir import uris
from service.fhir.reading.invoice import money

Json = dict[str, Any]
NONE_NAMED = "The cover that the order names does not hold on the day of the exam, or names no one insurer"
SEVERAL = "The animal has several covers on the day of the exam, and the order does not say which is meant"


def insurance(
    covers: Iterable[Json], named: Sequence[str], *, day: str, currencies: Mapping[str, Currency]
) -> tuple[Json, Insurance]:
    """(a Reference to the insurer, {} when there is none or no telling which; what is known of the cover).

    named: references by which the order says which Coverage is meant; day: the practice's own, of the exam."""
    meant = [c for c in covers if not named or f"Coverage/{c['id']}" in named]
    valid = [c for c in meant if c.get("status") == "active" and within(c.get("period", {}), day)]
    found = [(c, p) for c in valid for p in c.get("payor", [])]
    expected = bool(named) or any(authorisations(c, currencies) for c in meant)
    if len(found) != 1 or not str(found[0][1].get("reference", "")).startswith("Organization/"):
        return {}, Insurance(expected=expected, hindrance=f"{SEVERAL if len(found) > 1 else NONE_NAMED}.")
    cover, payor = found[0]
    return payor, Insurance(f"Coverage/{cover['id']}", tuple(authorisations(cover, currencies)), expected)


def authorisations(cover: Json, currencies: Mapping[str, Currency]) -> list[Authorisation]:
    """What was authorised under a cover, in its order."""
    held = [e.get("extension", []) for e in cover.get("extension", []) if e.get("url") == uris.X_AUTHORISATION]
    return [_authorisation(parts, currencies) for parts in held]


def within(period: Json, day: str) -> bool:
    """Whether a day (YYYY-MM-DD) lies in a Period, its ends included; an end that names a month means all of it."""
    first, last = (str(period.get(name, ""))[:10] for name in ("start", "end"))
    return first <= day and (not last or day[: len(last)] <= last)


def _authorisation(parts: Sequence[Json], currencies: Mapping[str, Currency]) -> Authorisation:
    said = {part["url"]: part for part in parts}
    period = said.get("period", {}).get("valuePeriod", {})
    first, unclear = _day(period.get("start"))
    last, open_ = _day(period.get("end"))
    fault = "its period can't be read" if unclear or open_ else ""
    amount = said.get("amount", {}).get("valueMoney")
    try:
        held = money(amount, currencies) if amount else None
    except (Invalid, LookupError, ArithmeticError):
        held, fault = None, "its amount can't be read"
    return Authorisation(
        number=str(said.get("number", {}).get("valueString", "without a number")),
        scope=tuple(str(part["valueCode"]) for part in parts if part["url"] == "scope" and "valueCode" in part),
        first=first,
        last=last,
        held=held,
        fault=fault,
    )


def _day(text: Any) -> tuple[date | None, bool]:
    """(the day of a FHIR dateTime, whether it names none); an authorisation is for days, never for months."""
    if not text:
        return None, False
    try:
        return date.fromisoformat(str(text)[:10]), False
    except ValueError:
        return None, True
