"""What of a finished exam, or of the fee of a cancelled one, is not invoiced or was credited in full, into invoices."""

from dataclasses import replace
from typing import Any

from service.actions import bill_exam, delivering, exam_payable, no_show
from service.actions.case import Case, open_case
from service.actions.closing import Closed
from service.actions.credit_exam import ended, gone, unsaid
from service.actions.exam_charges import invoices_of, open_ledger
from service.actions.operation import Operation, on_exam
from service.actions.ports import Caller, House, Work
from service.actions.reporting import seen
from service.actions.writing import decoded, rewrite
from service.basics.errors import RuleBroken
from service.fhir import exact, uris
from service.fhir.reading.parameters import named
from service.fhir.writing.parameters import parameters as answered
from service.fhir.writing.procedure import outcome
from service.fhir.writing.report import Party

Json = dict[str, Any]
NEEDED = (("by", "who has it billed"),)


def bill(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Invoice what is billable of a finished exam; with `again` also what was credited in full.

    What stands on an invoice stays there: asked again in the same words, nothing more happens, and the answer is what
    was made then, as long as it stands. Raises RuleBroken when nobody says who asks, Conflict when the exam is neither
    finished nor cancelled."""
    with on_exam(house, caller, task_id, parameters, name="bill", kept=False) as operation:
        ended(operation, "billed")
        if faults := unsaid(parameters, NEEDED):
            raise RuleBroken(*faults)
        operation.answer = _bill(house, caller, operation, again=True in named(parameters, "again"))
        return operation.answer


def _bill(house: House, caller: Caller, operation: Operation, *, again: bool) -> Json:
    work, exam = operation.work, operation.exam
    case = open_case(house, work, caller, exam)
    if exam.state == "cancelled":
        return _told(house, operation, case, no_show.bill(house, work, case, again=again))
    signer = _signer(work, exam.report)
    known = exam_payable.facts(house, work, case, seen(case), started=exam.started, signer=signer, closed=_left(case))
    billed = bill_exam.perform(
        house,
        work,
        caller=caller,
        exam=exam,
        facts=known,
        catalogue=case.catalogue,
        practice=case.practice,
        again=again,
    )
    return _told(house, operation, case, billed)


def _told(house: House, operation: Operation, case: Case, billed: bill_exam.Billed) -> Json:
    """The answer; what was invoiced is written, and told to whom it concerns."""
    invoices = [f"Invoice/{one['id']}" for one in billed.invoices]
    if invoices:
        _keep(house, operation, case, billed, invoices=invoices)
        for one in invoices:
            operation.work.save_receipt(_key(operation, one), operation.fingerprint, b"")
    else:
        invoices = _made(house, operation)
    references = [("exam", f"Task/{case.exam.id}"), *(("invoice", one) for one in invoices)]
    words = [*(("unbilled", one) for one in billed.unpriced), *(("warning", one) for one in billed.warnings)]
    return answered(references=references, words=words)


def _made(house: House, operation: Operation) -> list[str]:
    """The invoices that this same request made before and that were not taken back whole since."""
    ledger = open_ledger(house, operation.work, operation.exam)
    invoices, credits = invoices_of(house, operation.work, ledger.charges)
    standing = [f"Invoice/{one.id}" for one in invoices if not gone(one, credits.get(one.id, ()))]
    return [one for one in standing if operation.work.receipt(_key(operation, one))]


def _key(operation: Operation, invoice: str) -> str:
    return f"{operation.name}:{invoice}:{operation.fingerprint}"


def _keep(house: House, operation: Operation, case: Case, billed: bill_exam.Billed, *, invoices: list[str]) -> None:
    work = operation.work
    task = {**case.task, "lastModified": exact.instant(work.now)}
    task["output"] = [*task.get("output", []), *(outcome("invoice", one) for one in invoices)]
    told = [task, *billed.charges, *billed.invoices]
    rewrite(work, told)
    work.save_exam(replace(operation.exam, invoice=invoices[-1].removeprefix("Invoice/")))
    number = sum(1 for one in task["output"] if "valueReference" in one)
    delivering.promise(house, work, case, "billed", told, number=number)


def _left(case: Case) -> Closed:
    """What the rest that was left did to the price, and why it was left, as the exam's Task keeps it."""
    for coding in case.task.get("statusReason", {}).get("coding", []):
        reason = case.catalogue.reasons.get(coding.get("code", ""))
        if coding.get("system") == uris.REASON and reason is not None:
            return Closed(price_effect=reason.price_effect, why=reason.display)
    return Closed()


def _signer(work: Work, report: str) -> Party:
    """Who signed the report, as its present version says."""
    stored = work.get("DiagnosticReport", report) if report else None
    said = decoded(stored).get("resultsInterpreter", []) if stored and not stored.deleted else []
    first: Json = said[0] if said else {}
    return Party(str(first.get("reference", "")), str(first.get("display", "")))
