"""The money of a withdrawn exam taken back: charges ended, and a credit that brings its invoice to zero."""

from dataclasses import dataclass
from typing import Any

from service.actions.exam_charges import open_ledger
from service.actions.gathering import all_of
from service.actions.invoice_issue import cautions, numbered
from service.actions.ports import House, Work
from service.basics.ids import new_id
from service.basics.stored import Exam, Stored
from service.billing import credit as crediting
from service.billing.charge import MOVES
from service.billing.invoice import Invoice
from service.billing.practice import Practice
from service.fhir import exact
from service.fhir.reading.invoice import read_invoice
from service.fhir.writing import invoice as writing

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Credited:
    """invoice: the credit to be written as new, None when nothing was invoiced or all was credited before;

    changed: the exam's ChargeItems, now entered-in-error, each with the version it replaces."""

    invoice: Json | None
    changed: tuple[tuple[Json, Stored], ...]


def credit(house: House, work: Work, *, exam: Exam, practice: Practice, reason: str) -> Credited:
    """End every charge of the exam and credit what is left of its invoice, which itself stays as it was issued.

    The caller holds the exam's lock, writes what comes back and keeps the credit's id on the exam row. Again: nothing
    more happens. reason is printed on the credit: no clinical text."""
    ledger = open_ledger(house, work, exam)
    for charge in ledger.charges:
        verb = "credit" if charge.status == "billed" else "withdraw"
        if (charge.status, verb) in MOVES:
            ledger.move(charge, verb, why=reason)
    return Credited(_credit(house, work, exam=exam, practice=practice, reason=reason), tuple(ledger.changed))


def _credit(house: House, work: Work, *, exam: Exam, practice: Practice, reason: str) -> Json | None:
    stored = work.get("Invoice", exam.invoice) if exam.invoice else None
    if stored is None:
        return None
    currencies = house.catalogues.current.currencies
    invoice = read_invoice(exact.decode(stored.body), currencies)
    earlier = _earlier(house, work, invoice)
    if crediting.credit(invoice, earlier, id_="", number="", issued="") is None:
        return None  # asked first: a number once drawn has to stand on a paper
    number, issued = numbered(work, practice)
    value = crediting.credit(invoice, earlier, id_=new_id(), number=number, issued=issued)
    if value is None:
        return None
    return writing.invoice(value, organization=work.organization, notes=(reason, *cautions(house.catalogues.current)))


def _earlier(house: House, work: Work, invoice: Invoice) -> list[Invoice]:
    charges = ",".join(f"ChargeItem/{line.charge}" for line in invoice.lines)
    found = all_of(house, work, "Invoice", charge_item=charges)
    read = [read_invoice(resource, house.catalogues.current.currencies) for resource in found]
    return [one for one in read if one.credits == invoice.id]
