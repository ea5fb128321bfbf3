"""$estimate: what an open exam is expected to cost, a draft Invoice a payer, by the prices it will be billed at."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from service.actions import exam_payable
from service.actions.bill_exam import cut_of
from service.actions.case import Case, open_case
from service.actions.closing import Closed
from service.actions.estimates import ESTIMATE, named_on
from service.actions.exam_situation import seen_of, situation
from service.actions.insured import with_spent
from service.actions.invoice_issue import performed, words_of
from service.actions.operation import Operation, on_exam
from service.actions.payers import addressed
from service.actions.ports import Caller, House, Work
from service.actions.practices import catalogue_of
from service.actions.reporting import seen
from service.actions.writing import rewrite
from service.basics.errors import Conflict, Fault, RuleBroken
from service.basics.ids import new_id
from service.billing.charge import Charge, Identity
from service.billing.exam_facts import ExamFacts, Shown
from service.billing.hours import start
from service.billing.invoice import Invoice, tax_groups
from service.billing.invoice_words import Words
from service.billing.payers import Bill, bills
from service.billing.practice import BillingProfile
from service.billing.pricing import Priced, priced
from service.billing.triggers import Trigger, charged
from service.fhir import exact
from service.fhir.reading.estimate import payer_of
from service.fhir.reading.parameters import texts
from service.fhir.writing import estimate as writing
from service.fhir.writing.parameters import parameters as answered
from service.fhir.writing.procedure import outcome
from service.fhir.writing.report import Party

Json = dict[str, Any]
OPEN = frozenset({"accepted", "in-progress"})
NOBODY = BillingProfile("", "", "", "")


def estimate(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Estimate an open exam from its order, what it shows so far and what is `expected`* (charge codes) besides.

    The same again, at the same prices, changes nothing; otherwise each payer's draft has its next version. Raises
    RuleBroken for a code that no exam can show, Conflict when the exam is no longer open."""
    with on_exam(house, caller, task_id, parameters, name="estimate", kept=False) as operation:
        still_open(operation)
        case = open_case(house, operation.work, caller, operation.exam)
        triggers = catalogue_of(house, operation.work).triggers
        expected = Counter(texts(parameters, "expected"))
        if unknown := sorted(expected.keys() - {one.charge for one in triggers}):
            can = ", ".join(one.charge for one in triggers)
            said = ", ".join(one or "what has no code" for one in unknown)
            text = f"No exam can show {said}. What can be expected is {can}."
            raise RuleBroken(Fault("code-invalid", text, "Parameters.parameter.where(name='expected')"))
        facts = _facts(house, operation.work, case, _added(triggers, expected))
        operation.answer = _keep(house, operation, case, facts)
        return operation.answer


def still_open(operation: Operation) -> None:
    """Raise Conflict unless the exam is open."""
    if operation.exam.state not in OPEN:
        words = f"The exam is {operation.exam.state}; only one that is open is estimated and agreed to."
        raise Conflict(Fault("business-rule", words, "Task.status"))


def _added(triggers: Iterable[Trigger], expected: Counter[str]) -> list[Shown]:
    return [Shown(one.trigger, expected[one.charge]) for one in triggers if expected[one.charge]]


def _facts(house: House, work: Work, case: Case, expected: Sequence[Shown]) -> ExamFacts:
    """What the exam shows and is expected to show; it begins when it began, else at its appointment, else now."""
    appointment = case.request.get("occurrenceDateTime") or case.request.get("occurrencePeriod", {}).get("start")
    started = case.exam.started or str(appointment or exact.instant(work.now))
    facts = exam_payable.facts(house, work, case, seen(case), started=started, signer=Party(), closed=Closed())
    most: dict[str, Shown] = {}
    for one in (*facts.shown, *expected):
        if one.trigger not in most or most[one.trigger].times < one.times:
            most[one.trigger] = one
    return replace(facts, shown=tuple(most.values()))


def _keep(house: House, operation: Operation, case: Case, facts: ExamFacts) -> Json:
    work = operation.work
    facts = with_spent(house, work, facts, animal=case.exam.animal, practice=case.practice)
    found = _priced(house, work, case, facts)
    day = start(case.practice, facts.started).day
    before = {payer_of(one): one for one in named_on(work, case.task, ESTIMATE) if one["status"] == "draft"}
    phrases = words_of(house, work, case.practice.language)
    made = [
        _draft(work, case, facts, one, before=before.get(one.payer.reference, {}), words=phrases)
        for one in bills(found.lines, facts, day=day, rounding=case.practice.tax_rounding)
    ]
    stale = [writing.replaced(one) for payer, one in before.items() if payer not in map(payer_of, made)]
    new = [one for one in made if one["id"] not in {old["id"] for old in before.values()}]
    changed = [one for one in made if one not in new and not _same(one, before[payer_of(one)])]
    if new:
        task = {**case.task, "lastModified": exact.instant(work.now)}
        task["output"] = [*task.get("output", []), *(outcome(ESTIMATE, f"Invoice/{one['id']}") for one in new)]
        changed.append(task)
    rewrite(work, [*new, *changed, *stale])
    references = [("exam", f"Task/{case.exam.id}"), *((ESTIMATE, f"Invoice/{one['id']}") for one in made)]
    words = [("total", _total(one)) for one in made]
    words += [("unpriced", f"{code}: {why}") for code, why in found.unpriced.items()]
    return answered(references=references, words=words)


def _priced(house: House, work: Work, case: Case, facts: ExamFacts) -> Priced:
    """Lines for all that is expected, each charge known by its code: none has come about as yet."""
    current, organization = catalogue_of(house, work), work.organization
    began = start(case.practice, facts.started)
    service = case.catalogue.services[case.exam.service]
    cut = cut_of(facts, service, case.catalogue, practice=case.practice, day=began.day)
    at = situation(facts, case.practice, scope=cut.code)
    rows = charged(
        current.triggers, seen_of(facts, at, began), current.prices, organization=organization, on=began.day, at=at
    )
    titles = {one.charge: one.title for one in case.catalogue.services.values()}
    expected = [(cut.code, titles.get(cut.code, cut.code), 1)] if cut.code else []
    expected += [(row.charge, row.text, one.times) for row, one in rows]
    charges = [
        Charge(code, Identity(case.exam.order, code, organization), text, "billable", times)
        for code, text, times in expected
    ]
    return priced(charges, current.prices, practice=case.practice, began=began, exam_code=cut.code, at=at)


def _draft(work: Work, case: Case, facts: ExamFacts, bill: Bill, *, before: Json, words: Words) -> Json:
    practice = case.practice
    lines = tuple(replace(line, sequence=n) for n, line in enumerate(bill.lines, start=1))
    value = Invoice(
        id=str(before.get("id") or new_id()),
        number="",
        issued="",
        seller=practice.profile or NOBODY,
        payer=addressed(work, bill.payer),
        performed=performed(facts, practice, case.exam),
        rounding=practice.tax_rounding,
        lines=lines,
        groups=tax_groups(lines, practice.tax_rounding),
        gross_rounding=practice.gross_rounding,
        language=practice.language,
    )
    return writing.estimate(value, organization=work.organization, words=words)


def _same(made: Json, stored: Json) -> bool:
    return {**made, "meta": None} == {**stored, "meta": None}


def _total(estimate: Json) -> str:
    who = estimate.get("recipient", {})
    name = who.get("display") or who.get("reference") or "the client"
    return f"{name}: {estimate['totalGross']['value']:f} {estimate['totalGross']['currency']}"
