"""A file of prices into an organisation's own price list: what it changes, and nothing that was charged by before."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from service.actions.billing_report import midnight
from service.actions.gathering import all_of
from service.actions.ports import House, View
from service.actions.practices import practice_of
from service.actions.writing import decoded
from service.basics.errors import Conflict, Fault, Invalid
from service.billing.hours import start
from service.catalogue import tariff
from service.catalogue.faults import CatalogueFaults
from service.catalogue.tariff import Cells, Import, Key, Repriced
from service.fhir import search, uris

Json = dict[str, Any]
KIND = "tariff"
LAST = date(9999, 1, 1)


@dataclass(frozen=True, slots=True)
class Change:
    """What an import would change, a line for each cell; text: the organisation's whole file afterwards."""

    before: str
    text: str
    lines: tuple[str, ...]


def plan(house: House, organization: str, *, name: str, given: str) -> Change:
    """What importing a file (its name, its text) would change. Raises Invalid with every fault by file and line, and

    Conflict naming each price that would be another on a day on which it was charged."""
    files = house.catalogues.current.files
    with house.books.view(organization) as view:
        before = view.overlay_text(KIND)
        after = tariff.imported(files[tariff.FILE], before, given, organization=organization)
        faults = [*after.faults, *([] if after.faults else _faults(house, view, after))]
        if faults:
            raise Invalid(*(Fault("value", f"{name}:{text}") for text in faults))
        old = _in_force(files, before, after, organization)
        used = [f for one in tariff.repriced(old, after.rows) for f in _used(house, view, one)]
    if used:
        raise Conflict(*used)
    return Change(before, after.text, tuple(tariff.differences(tariff.own_rows(before), after.rows)))


def keep(house: House, organization: str, change: Change, *, by: str) -> None:
    """Put a planned change in force, with who asked for it. Raises Conflict when another was put in force meanwhile."""
    if not by.strip():
        raise Invalid(Fault("required", "Say who changes the prices."))
    with house.books.begin(organization) as work:
        work.hold_invoice_numbers(work.now.year)  # imports one after the other, and none amid an invoice
        if work.overlay_text(KIND) != change.before:
            raise Conflict(Fault("conflict", "Somebody has changed the prices meanwhile: look at what changes again."))
        work.lay_over(KIND, by=by.strip(), files=change.text, difference="\n".join(change.lines))


def _faults(house: House, view: View, after: Import) -> Iterator[str]:
    """What is wrong with the price list as it would be, by the lines of the imported file."""
    try:
        house.catalogues.over(view.overlay_text(), after.text)
    except CatalogueFaults as wrong:
        lines = house.catalogues.current.files[tariff.FILE].rstrip("\n").count("\n") + 1
        keys = list(after.rows)
        for fault in wrong.faults:
            yield _placed(fault, after, keys, lines)


def _placed(fault: str, after: Import, keys: list[Key], lines: int) -> str:
    file, number, words = fault.split(":", 2)
    index = int(number) - lines - 1
    if file != tariff.FILE or not 0 <= index < len(keys):
        return f"0: with these rows, {fault}"
    line = after.origin.get(keys[index])
    return f"{line}:{words}" if line else f"0: with these rows, {tariff.named(after.rows[keys[index]])}:{words}"


def _in_force(files: Mapping[str, str], before: str, after: Import, organization: str) -> dict[Key, Cells]:
    """The rows by which the charges of an import were priced until now: the organisation's own, else everybody's."""
    own = tariff.own_rows(before)
    known = {cells["charge"] for cells in own.values()}
    new = {cells["charge"] for cells in after.rows.values()} - known
    return {**own, **tariff.general_rows(files[tariff.FILE], new, organization)}


def _used(house: House, view: View, one: Repriced) -> Iterator[Fault]:
    """The fault of a price that was charged on one of the days."""
    practice = practice_of(house, view)
    key = search.key(view.organization, "ChargeItem", "occurrence", "")
    last = one.last or LAST
    low, high = midnight(one.first, practice), midnight(last + timedelta(days=1), practice)
    for stored in view.dated(key, low=low, high=high):
        item = decoded(stored)
        if _code(item) == one.charge and _invoiced(house, view, item):
            day = start(practice, str(item.get("occurrenceDateTime", ""))).day
            words = f"{one.row}: this price was charged for an exam on {day} and stays as it is on that day"
            yield Fault("business-rule", f"{words}; let the new one begin later.")
            return


def _code(item: Json) -> str:
    codings = item.get("code", {}).get("coding", [])
    return next((str(c["code"]) for c in codings if c.get("system") == uris.CHARGE), "")


def _invoiced(house: House, view: View, item: Json) -> bool:
    if item["status"] == "billed":
        return True
    credited = item["status"] == "entered-in-error"
    return credited and bool(all_of(house, view, "Invoice", charge_item=f"ChargeItem/{item['id']}"))
