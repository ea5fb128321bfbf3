"""What an exam shows into its ChargeItems and its Invoices, inside the transaction of the one who finishes it."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from service.actions.direct_claims import lacking
from service.actions.estimates import surprising
from service.actions.exam_charges import Ledger, open_ledger
from service.actions.exam_charging import Charging, charge_add_ons, charge_claim, charge_exam_line
from service.actions.exam_situation import situation
from service.actions.insured import with_spent
from service.actions.invoice_issue import issue
from service.actions.ports import Caller, House, Work
from service.actions.practices import catalogue_of
from service.actions.writing import decoded
from service.basics.stored import Exam, Stored
from service.billing.charge import Charge, Cut, exam_line
from service.billing.exam_facts import ExamFacts as ExamFacts  # callers take it from here
from service.billing.follow_up import followed
from service.billing.hours import start
from service.billing.practice import Practice
from service.billing.pricing import Priced, priced
from service.catalogue.catalogue import Catalogue
from service.exam.order import Order
from service.exam.rules import Service
from service.fhir.reading.claim import unpaid

Json = dict[str, Any]
NOT_JUDGED = "Out of hours: not judged, the time of day at which the exam began is not known."


@dataclass(frozen=True, slots=True)
class Billed:
    """new and changed ChargeItems and the Invoices, to be written by the caller; unpriced: what stays unbilled, why.

    warnings: what a person should say to whoever pays, before he reads it himself."""

    new: tuple[Json, ...]
    changed: tuple[tuple[Json, Stored], ...]
    invoices: tuple[Json, ...]
    unpriced: tuple[str, ...]
    warnings: tuple[str, ...] = ()

    @property
    def charges(self) -> list[Json]:
        """All ChargeItems, new ones first."""
        return [*self.new, *(resource for resource, _ in self.changed)]


def plan(house: House, work: Work, *, caller: Caller, exam: Exam, order: Order, catalogue: Catalogue) -> list[Json]:
    """The planned charges of a newly accepted exam, to be written as new resources: its exam line.

    The exam row must already name its procedure. Raises Conflict when the order was charged for before."""
    ledger, service = Ledger(work, exam), catalogue.services[exam.service]
    ledger.add(service.charge, service.title, organization=caller.organization, requester=order.requester)
    return ledger.new


def abort(house: House, work: Work, *, exam: Exam, reason: str) -> list[tuple[Json, Stored]]:
    """The planned charges of a cancelled exam, aborted, each with the version it replaces."""
    ledger = open_ledger(house, work, exam)
    for charge in ledger.charges:
        if charge.status == "planned":
            ledger.move(charge, "abort", why=reason)
    return ledger.changed


def perform(
    house: House,
    work: Work,
    *,
    caller: Caller,
    exam: Exam,
    facts: ExamFacts,
    catalogue: Catalogue,
    practice: Practice,
    again: bool = False,
) -> Billed:
    """The charges of a finished exam and, as far as they are priced and have a payer, an issued invoice for each payer.

    It never refuses for money's sake: what cannot be priced or billed stays billable, with the reason noted on it and
    told in `unpriced`. catalogue is the exam's own (its services); prices come from the list now in force, whose rows
    are dated, and count as of the exam's start. again: what was credited in full is charged anew. The caller holds the
    exam's lock and writes what comes back."""
    ledger, began = open_ledger(house, work, exam), start(practice, facts.started)
    current = catalogue_of(house, work)
    cut = cut_of(facts, catalogue.services[exam.service], catalogue, practice=practice, day=began.day)
    at = situation(facts, practice, scope=cut.code)
    shown = Charging(ledger, facts, at, began.day, current.prices, caller.organization, again)
    charge_exam_line(shown, cut, catalogue.services[exam.service], catalogue)
    charge_add_ons(shown, current, began)
    billable = [c for c in ledger.charges if c.status == "billable"]
    bill = priced(billable, current.prices, practice=practice, began=began, exam_code=cut.code, at=at)
    facts = with_spent(house, work, facts, animal=exam.animal, practice=practice)
    if charge_claim(shown, current, bill, facts=facts, practice=practice):
        billable = [c for c in ledger.charges if c.status == "billable"]
        bill = priced(billable, current.prices, practice=practice, began=began, exam_code=cut.code, at=at)
    _note(ledger, billable, bill)
    invoices, waiting = issue(house, work, bill=bill, ledger=ledger, facts=facts, practice=practice, exam=exam)
    told = [] if at.closed is not None else [NOT_JUDGED]
    told += [f"{c.text} ({c.identity.code}): {waiting[c.id]}" for c in billable if c.id in waiting]
    names = [c.text for c in billable if c.id in waiting]
    warnings = _warnings(house, work, exam, practice=practice, invoices=invoices, names=names)
    return Billed(tuple(ledger.new), tuple(ledger.changed), tuple(invoices), tuple(told), warnings)


def _warnings(
    house: House, work: Work, exam: Exam, *, practice: Practice, invoices: list[Json], names: list[str]
) -> tuple[str, ...]:
    stored = work.get("Task", exam.id)
    if stored is None or not invoices:
        return ()
    task = decoded(stored)
    found = surprising(house, work, task, practice=practice, more=invoices)
    found += lacking(house, work, exam, task, waiting=names, more=invoices)
    return (*unpaid(invoices), *(one.words for one in found))


def cut_of(facts: ExamFacts, service: Service, catalogue: Catalogue, *, practice: Practice, day: date | None) -> Cut:
    """Which exam line is charged after all, and why it is not the one ordered. day: the practice's own, of the exam."""
    by_scope = {s.scope: s for s in catalogue.services.values()}
    full, limited = by_scope.get("full", service), by_scope.get("limited", service)
    if facts.documented and facts.documented != service.charge and facts.price_effect == "full":
        return Cut(facts.documented, "All that a full survey requires was recorded; charged as such.")
    cut = exam_line(
        service.charge, effect=facts.price_effect, full=full.charge, limited=limited.charge, reason=facts.reason
    )
    if cut.code != service.charge or day is None:
        return cut
    return followed(cut, service.scope, facts.fulls, day=day, practice=practice, limited=limited.charge)


def _note(ledger: Ledger, billable: list[Charge], bill: Priced) -> None:
    for charge in billable:
        if charge.id in bill.waived:
            ledger.move(charge, "waive", why=bill.waived[charge.id])
        elif charge.id in bill.remarks:
            ledger.remark(charge, bill.remarks[charge.id])
