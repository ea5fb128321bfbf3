"""What an exam shows into its ChargeItems and its Invoice, inside the transaction of the one who finishes it."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from service.actions.exam_charges import Ledger, open_ledger
from service.actions.invoice_issue import issue
from service.actions.ports import Caller, House, Work
from service.basics.stored import Exam, Stored
from service.billing.charge import exam_line
from service.billing.exam_facts import ExamFacts as ExamFacts  # callers take it from here
from service.billing.hours import Start, out_of_hours, start
from service.billing.practice import Practice
from service.billing.pricing import priced
from service.billing.tariff import add_on
from service.catalogue.catalogue import Catalogue
from service.exam.order import Order
from service.exam.rules import Service

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Billed:
    """new and changed ChargeItems and the Invoice, to be written by the caller; unpriced: what stays unbilled, why."""

    new: tuple[Json, ...]
    changed: tuple[tuple[Json, Stored], ...]
    invoice: Json | None
    unpriced: tuple[str, ...]

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
) -> Billed:
    """The charges of a finished exam and, as far as they are priced and have a payer, their one issued invoice.

    It never refuses for money's sake: what cannot be priced or billed stays billable, with the reason noted on it and
    told in `unpriced`. catalogue is the exam's own (its services); prices come from the list now in force, whose rows
    are dated, and count as of the exam's start. The caller holds the exam's lock and writes what comes back."""
    ledger, began = open_ledger(house, work, exam), start(practice, facts.started)
    shown = _Shown(ledger, facts, began, caller.organization)
    code = _charge_exam_line(shown, catalogue.services[exam.service], catalogue)
    told = _charge_add_ons(shown, house.catalogues.current, practice)
    billable = [c for c in ledger.charges if c.status == "billable"]
    bill = priced(billable, house.catalogues.current.prices, practice=practice, began=began, exam_code=code)
    invoice, waiting = issue(house, work, bill=bill, ledger=ledger, facts=facts, practice=practice, exam=exam)
    told += [f"{c.text} ({c.identity.code}): {waiting[c.id]}" for c in billable if c.id in waiting]
    return Billed(tuple(ledger.new), tuple(ledger.changed), invoice, tuple(told))


@dataclass(frozen=True, slots=True)
class _Shown:
    """The charges together with what the exam showed."""

    ledger: Ledger
    facts: ExamFacts
    began: Start
    organization: str

    def charge(self, code: str, text: str, *, waived: str = "", note: str = "") -> None:
        """One performed service as a billable charge, or as one not billed for the reason `waived`."""
        if self.ledger.billed(code):
            return
        charge = self.ledger.open(code) or self.ledger.add(code, text, organization=self.organization)
        if waived and charge.status != "not-billable":
            self.ledger.move(charge, "waive", why=waived)
        elif charge.status == "planned":
            self.ledger.perform(charge, self.facts)
        if note:
            self.ledger.remark(charge, note)


def _charge_exam_line(shown: _Shown, service: Service, catalogue: Catalogue) -> str:
    by_scope = {s.scope: s for s in catalogue.services.values()}
    full, limited = by_scope.get("full", service), by_scope.get("limited", service)
    facts = shown.facts
    cut = exam_line(
        service.charge, effect=facts.price_effect, full=full.charge, limited=limited.charge, reason=facts.reason
    )
    if cut.code == service.charge:
        shown.charge(service.charge, service.title)
    elif not cut.code:
        shown.charge(service.charge, service.title, waived=cut.why)
    elif not shown.ledger.billed(service.charge):
        ordered = shown.ledger.open(service.charge)
        if ordered is not None:
            shown.ledger.move(ordered, "waive" if ordered.status == "billable" else "abort", why=cut.why)
        shown.charge(cut.code, limited.title, note=cut.why)
    return cut.code or service.charge


def _charge_add_ons(shown: _Shown, current: Catalogue, practice: Practice) -> list[str]:
    closed = out_of_hours(practice, shown.began)
    waived = "Not charged: the exam itself is not." if shown.facts.price_effect == "none" else ""
    for trigger, note in _triggers(shown.facts, closed=bool(closed), began=shown.began):
        code, text = add_on(current.prices, trigger, organization=shown.organization)
        shown.charge(code, text, waived=waived, note=note)
    if closed is None:
        return ["Out of hours: not judged, the time of day at which the exam began is not known."]
    return []


def _triggers(facts: ExamFacts, *, closed: bool, began: Start) -> Iterator[tuple[str, str]]:
    if facts.doppler:
        yield "doppler", ""
    if facts.sedation:
        yield "sedation", ""
    if closed:
        yield "out-of-hours", f"The exam began outside opening hours, {began.words}."
