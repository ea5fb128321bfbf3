"""A month of a practice that is over into one whose books are closed: what it came to, by whom, and no way back."""

import json
from collections.abc import Callable, Iterable
from typing import Any
from zoneinfo import ZoneInfo

from service.actions.billing_report import Stretch, invoices, stretch
from service.actions.ports import House, Work
from service.actions.practices import practice_of
from service.basics.errors import Conflict, Fault, Invalid
from service.basics.stored import Closed
from service.billing.books import Sum, Sums

Json = dict[str, Any]
Told = Callable[[Iterable[Sum]], list[Json]]  # sums as they are kept and shown


def close(house: House, organization: str, *, month: str, by: str, told: Told) -> Closed:
    """Close the books of a month and keep what it came to; every later correction is dated into an open month.

    Waits for whoever has drawn an invoice number. Raises Invalid for what is no month or has nobody's name, Conflict
    when the month is not over or was closed before, or when an invoice of it does not add up."""
    wanted = _month(month)
    if not by.strip():
        raise Invalid(Fault("required", "Say who closes the month."))
    with house.books.begin(organization) as work:
        local = work.now.astimezone(ZoneInfo(practice_of(house, work).zone))
        if local.date() <= wanted.last:
            raise Conflict(Fault("business-rule", f"{month} is not over: it is {local:%Y-%m-%d} there."))
        work.hold_invoice_numbers(wanted.first.year)
        _open(work, month)
        sums, faults = Sums(), []
        for one in invoices(house, work, wanted):
            sums.add(one)
            faults += [Fault("business-rule", f"Invoice/{one.id} ({one.number}): {words}") for words in one.faults]
        if faults:
            raise Conflict(*faults)
        work.close_month(month, by=by.strip(), totals=json.dumps(told(sums.all())))
        return _closed(work, month) or Closed(month, "", by, "")


def _month(text: str) -> Stretch:
    try:
        found: Stretch | None = stretch(text)
    except Invalid:
        found = None
    if found is None or found.first == found.last:
        raise Invalid(Fault("value", "Books are closed month by month: name one such as 2026-11."))
    return found


def _open(work: Work, month: str) -> None:
    before = _closed(work, month)
    if before is not None:
        text = f"The books of {month} were closed by {before.by} at {before.closed}."
        raise Conflict(Fault("business-rule", text))


def _closed(work: Work, month: str) -> Closed | None:
    return next((one for one in work.closed_months() if one.month == month), None)
