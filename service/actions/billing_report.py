"""A day or a month of a practice into its invoices and credits, one after another, and what they come to."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from service.actions.ports import House, View
from service.actions.practices import practice_of
from service.actions.writing import decoded
from service.basics.errors import Fault, Invalid
from service.billing.books import Booked
from service.billing.hours import start
from service.billing.practice import Practice
from service.fhir import search
from service.fhir.moments import of_text
from service.fhir.reading.booked import booked
from service.fhir.reading.referral import there

_MONTH = re.compile(r"\d{4}-\d{2}", re.ASCII)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
FIRST_MARK = ""  # of a date: its key hashes the parameter alone


@dataclass(frozen=True, slots=True)
class Stretch:
    """A day (2026-11-25) or a month (2026-11) of the practice's own calendar; the last day is included."""

    name: str
    first: date
    last: date


def stretch(text: str) -> Stretch:
    """The day or month that a text names; Invalid when it names none."""
    try:
        if _MONTH.fullmatch(text):
            first = date.fromisoformat(f"{text}-01")
            return Stretch(text, first, (first + timedelta(days=31)).replace(day=1) - timedelta(days=1))
        day = date.fromisoformat(text if _DAY.fullmatch(text) else "")
        if day == date.max:
            raise ValueError(text)  # no day follows at whose midnight it could end
        return Stretch(text, day, day)
    except (ValueError, OverflowError):
        raise Invalid(Fault("value", "Name a day such as 2026-11-25, or a month such as 2026-11.")) from None


def invoices(house: House, view: View, wanted: Stretch) -> Iterator[Booked]:
    """The invoices and credits dated within it, in order of time, all as they are now; two hundred in memory at once.

    Raises Invalid when one has money that can't be read, naming it: a sum that leaves it out would be wrong."""
    practice = practice_of(house, view)
    currencies = {**house.catalogues.current.currencies, practice.currency.code: practice.currency}
    key = search.key(view.organization, "Invoice", "date", FIRST_MARK)
    low, high = midnight(wanted.first, practice), midnight(wanted.last + timedelta(days=1), practice)
    for stored in view.dated(key, low=low, high=high):
        resource = decoded(stored)
        day = start(practice, str(resource.get("date", ""))).day
        if there(resource) not in {"", stored.id}:
            continue  # another practice issued it and told us
        if day is None or not wanted.first <= day <= wanted.last:
            continue
        try:
            yield booked(resource, currencies, day=day.isoformat())
        except (Invalid, ArithmeticError, LookupError) as fault:
            text = f"Invoice/{stored.id} has money that can't be read: {fault}"
            raise Invalid(Fault("value", text)) from fault


def midnight(day: date, practice: Practice) -> int:
    """The moment at which a day of the practice begins, in microseconds."""
    begins = datetime.combine(day, time(), ZoneInfo(practice.zone))
    found = of_text(begins.isoformat())
    if found is None:
        raise Invalid(Fault("value", f"{day} is no day that can be reported."))
    return found[0]
