"""`billing print`: an invoice by its number, or all of a day or month, as files."""

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from service.actions import billing_report
from service.actions.gathering import all_of
from service.actions.ports import House, Press, View
from service.actions.print_invoice import printed_form
from service.actions.writing import decoded
from service.basics.errors import Refusal
from service.billing.books import COUNTED
from service.billing.sheet import Sheet
from service.commands import stop
from service.commands.table import printable
from service.fhir import uris
from service.fhir.writing.invoice_html import html
from service.fhir.writing.invoice_print import TEMPLATE, printed

KINDS = {"pdf": "pdf", "page": "html"}  # kind -> ending of the file
_STRETCH = re.compile(r"\d{4}-\d{2}(-\d{2})?", re.ASCII)


def print_(
    house: House, organization: str, wanted: str, *, folder: Path, kind: str, language: str, press: Press
) -> None:
    """Write a file for each invoice and credit of a number, day or month into a folder, and say which.

    Ends the command when there is none, or one can't be printed."""
    count = 0
    try:
        with house.books.view(organization) as view:
            for sheet in _sheets(house, view, wanted, language):
                name = f"{re.sub(r'[^A-Za-z0-9-]+', '_', sheet.number)}.{KINDS[kind]}"
                (folder / name).write_bytes(_made(sheet, kind, press))
                print(printable(f"{folder / name}: {sheet.heading}"))
                count += 1
    except Refusal as refusal:
        raise stop.stop([f.text for f in refusal.faults]) from None
    except OSError as fault:
        raise stop.stop(f"{folder}: {fault.strerror}") from None
    if not count:
        raise stop.stop(f"there is no invoice {printable(wanted)}")


def _sheets(house: House, view: View, wanted: str, language: str) -> Iterator[Sheet]:
    for id_ in _ids(house, view, wanted):
        stored = view.get("Invoice", id_)
        if stored is not None:
            yield printed_form(house, view, decoded(stored), language=language)


def _ids(house: House, view: View, wanted: str) -> Iterable[str]:
    """The ids of what is meant, one after another: a month has many."""
    if not _STRETCH.fullmatch(wanted):
        number = f"{uris.INVOICE_NUMBER}/{view.organization}|{wanted}"
        return [one["id"] for one in all_of(house, view, "Invoice", identifier=number)]
    found = billing_report.invoices(house, view, billing_report.stretch(wanted))
    return (one.id for one in found if one.status in COUNTED)


def _made(sheet: Sheet, kind: str, press: Press) -> bytes:
    if kind == "page":
        return html(sheet).encode()
    made = press(printed(sheet), template=TEMPLATE)
    if made is None:
        raise stop.stop(f"{printable(sheet.heading)} can't be set as a PDF; --kind page writes the same as a page")
    return made
