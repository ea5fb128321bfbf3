"""Months whose books are closed, held against whatever would be dated into them."""

from collections.abc import Iterator
from typing import Any

from service.actions.ports import House, View, Work
from service.actions.practices import practice_of
from service.basics.errors import Conflict, Fault
from service.billing.hours import start
from service.billing.practice import Practice

Json = dict[str, Any]


def check_open(view: View, month: str) -> None:
    """Raise Conflict when the books of a month such as 2026-11 are closed.

    Asked after a number was drawn, for closing waits for whoever has drawn one."""
    if view.is_closed(month):
        raise Conflict(Fault("business-rule", _refused(month), "Invoice.date"))


def dated_back(house: House, work: Work, resource: Json, before: Json) -> Iterator[Fault]:
    """The fault of an Invoice that is newly dated into a closed month; a date that stays as it is has none."""
    date = str(resource.get("date", ""))
    month = month_of(practice_of(house, work), date) if date and date != before.get("date") else ""
    if not month:
        return
    work.hold_invoice_numbers(int(month[:4]))  # closing waits for what is dated into its month, and the other way round
    if work.is_closed(month):
        yield Fault("business-rule", _refused(month), "Invoice.date")


def month_of(practice: Practice, date: str) -> str:
    """The month of a FHIR dateTime in the practice's zone; "" when it names no day."""
    day = start(practice, date).day
    return f"{day:%Y-%m}" if day is not None else ""


def _refused(month: str) -> str:
    return f"The books of {month} are closed; no invoice is dated into it any more. Date it in the open month."
