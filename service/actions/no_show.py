"""An order revoked too late into the fee for it, where the practice's price list has one."""

from datetime import timedelta
from typing import Any

from service.actions.bill_exam import Billed
from service.actions.case import Case
from service.actions.exam_charges import Ledger, open_ledger
from service.actions.invoice_issue import issue
from service.actions.ports import Caller, House, Work
from service.actions.practices import catalogue_of
from service.billing.exam_facts import ExamFacts, Shown
from service.billing.hours import Start, start
from service.billing.pricing import priced
from service.billing.situation import Situation
from service.billing.triggers import NO_SHOW, charged
from service.fhir.reading.names import name_of

Json = dict[str, Any]
ANEW = "The fee is charged anew."
NOTHING = Billed((), (), (), ())


def charge(house: House, work: Work, case: Case, caller: Caller) -> Billed:
    """The fee as a new charge with its invoice, for the caller to write; nothing when the order was revoked in time.

    In time is judged by the order's occurrence, its appointment: without one or without a limit there is no fee."""
    began, limit = _began(case), case.practice.no_show_hours
    if limit is None or began.at is None or work.now <= began.at - timedelta(hours=limit):
        return NOTHING
    current, facts = catalogue_of(house, work), _facts(case)
    ledger, at = Ledger(work, case.exam), _situation(facts)
    shown = [Shown(NO_SHOW, note=f"The order was revoked later than {limit} hours before {began.words}.")]
    for row, one in charged(
        current.triggers, shown, current.prices, organization=caller.organization, on=began.day, at=at
    ):
        _owed(ledger, row.charge, row.text, facts=facts, note=one.note, organization=caller.organization)
    return _invoiced(house, work, case, ledger)


def bill(house: House, work: Work, case: Case, *, again: bool) -> Billed:
    """What of a cancelled exam's fee waits for a price or a payer, invoiced; again: also what was credited in full.

    For the caller to write."""
    ledger, facts = open_ledger(house, work, case.exam), _facts(case)
    known = {c.identity.code: c for c in ledger.charges if c.status == "entered-in-error"}
    for code, last in known.items() if again else ():
        if ledger.reversed(code):
            _owed(ledger, code, last.text, facts=facts, note=ANEW, organization=work.organization)
    return _invoiced(house, work, case, ledger)


def _owed(ledger: Ledger, code: str, text: str, *, facts: ExamFacts, note: str, organization: str) -> None:
    new = ledger.add(code, text, organization=organization)
    if new is not None:
        ledger.perform(new, facts, _situation(facts))
        ledger.remark(new, note)


def _invoiced(house: House, work: Work, case: Case, ledger: Ledger) -> Billed:
    current, facts, practice = catalogue_of(house, work), _facts(case), case.practice
    open_ = [c for c in ledger.charges if c.status == "billable"]
    bill = priced(
        open_, current.prices, practice=practice, began=_began(case), exam_code="", at=_situation(facts)
    )  # fmt: skip
    invoices, waiting = issue(house, work, bill=bill, ledger=ledger, facts=facts, practice=practice, exam=case.exam)
    return Billed(tuple(ledger.new), tuple(ledger.changed), tuple(invoices), tuple(waiting.values()))


def _began(case: Case) -> Start:
    return start(case.practice, _appointment(case.request))


def _situation(facts: ExamFacts) -> Situation:
    return Situation(species=facts.species, weight_kg=facts.weight_kg, priority=facts.priority)


def _appointment(request: Json) -> str:
    return str(request.get("occurrenceDateTime") or request.get("occurrencePeriod", {}).get("start", ""))


def _facts(case: Case) -> ExamFacts:
    animal, owner = case.order.animal, case.owners[0] if len(case.owners) == 1 else None
    return ExamFacts(
        started=_appointment(case.request),
        animal_name=animal.name,
        species=animal.species,
        weight_kg=animal.weight_kg,
        priority=case.order.priority,
        owner=f"RelatedPerson/{owner['id']}" if owner else "",
        owner_name=name_of(owner) if owner else "",
    )
