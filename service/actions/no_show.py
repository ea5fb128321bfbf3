"""An order revoked too late into the fee for it, where the practice's price list has one."""

from datetime import timedelta
from typing import Any

from service.actions.bill_exam import Billed
from service.actions.case import Case
from service.actions.exam_charges import Ledger
from service.actions.invoice_issue import issue
from service.actions.ports import Caller, House, Work
from service.actions.practices import catalogue_of
from service.billing.exam_facts import ExamFacts, Shown
from service.billing.hours import start
from service.billing.pricing import priced
from service.billing.situation import Situation
from service.billing.triggers import charged
from service.fhir.reading.names import name_of

Json = dict[str, Any]
NOTHING = Billed((), (), (), ())


def charge(house: House, work: Work, case: Case, caller: Caller) -> Billed:
    """The fee as a new charge with its invoice, for the caller to write; nothing when the order was revoked in time.

    In time is judged by the order's occurrence, its appointment: without one or without a limit there is no fee."""
    appointment = _appointment(case.request)
    began = start(case.practice, appointment)
    limit = case.practice.no_show_hours
    if limit is None or began.at is None or work.now <= began.at - timedelta(hours=limit):
        return NOTHING
    current, facts = catalogue_of(house, work), _facts(case, appointment)
    ledger = Ledger(work, case.exam)
    at = Situation(species=facts.species, weight_kg=facts.weight_kg, priority=facts.priority)
    note = f"The order was revoked later than {limit} hours before {began.words}."
    shown = [Shown("no-show", note=note)]
    for row, one in charged(
        current.triggers, shown, current.prices, organization=caller.organization, on=began.day, at=at
    ):
        new = ledger.add(row.charge, row.text, organization=caller.organization)
        if new is not None:
            ledger.perform(new, facts, at)
            ledger.remark(new, one.note)
    bill = priced(ledger.charges, current.prices, practice=case.practice, began=began, exam_code="", at=at)
    invoices, waiting = issue(
        house, work, bill=bill, ledger=ledger, facts=facts, practice=case.practice, exam=case.exam
    )  # fmt: skip
    return Billed(tuple(ledger.new), (), tuple(invoices), tuple(waiting.values()))


def _appointment(request: Json) -> str:
    return str(request.get("occurrenceDateTime") or request.get("occurrencePeriod", {}).get("start", ""))


def _facts(case: Case, appointment: str) -> ExamFacts:
    animal, owner = case.order.animal, case.owners[0] if len(case.owners) == 1 else None
    return ExamFacts(
        started=appointment,
        animal_name=animal.name,
        species=animal.species,
        weight_kg=animal.weight_kg,
        priority=case.order.priority,
        owner=f"RelatedPerson/{owner['id']}" if owner else "",
        owner_name=name_of(owner) if owner else "",
    )
