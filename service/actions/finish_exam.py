"""A surveyed exam into its final report, its charges, its invoice and the posts that carry them: all or nothing."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from service.actions import bill_exam, delivering, discrepancy, exam_payable, judge
from service.actions.case import Case, open_case
from service.actions.closing import Closed, close_rest, open_items
from service.actions.lookup import Lookup
from service.actions.operation import Operation, on_exam
from service.actions.ports import Caller, House, Work
from service.actions.preliminary_report import against, otherwise
from service.actions.reporting import Signature, facts, report_of, seen, unprinted
from service.actions.signing import signature as signature_of
from service.actions.survey_sheet import open_sheet
from service.actions.urgent_case import included, undecided
from service.actions.writing import rewrite
from service.basics.errors import Conflict, Fault, RuleBroken
from service.basics.ids import new_id
from service.basics.stored import Exam
from service.exam.report import Edition
from service.exam.rules import Reason
from service.exam.survey import Owed, Step
from service.fhir import exact, uris
from service.fhir.writing.parameters import parameters as answered
from service.fhir.writing.procedure import moved, outcome

Json = dict[str, Any]
FINISHABLE = frozenset({"accepted", "in-progress"})


def finish(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Finish an exam: `interpreter` and `conclusion` (one or more), and `remaining` + `detail` when the rest is left.

    Answers references to report and invoice, and in words what stayed unbilled. The same content again gives the same
    answer; other content raises Conflict. Raises RuleBroken with one fault for each thing still owed or missing."""
    with on_exam(house, caller, task_id, parameters, name="finish", once=True) as operation:
        if not operation.repeated:
            _can_be_finished(operation.exam)
            case = open_case(house, operation.work, caller, operation.exam)
            signature = signature_of(parameters, Lookup(operation.work))
            case, closed = _complete(house, operation, case, signature)
            operation.answer = _finish(house, caller, operation, case, signature=signature, closed=closed)
        return operation.answer


def _can_be_finished(exam: Exam) -> None:
    if exam.state not in FINISHABLE:
        text_ = f"The exam is {exam.state}; only an exam that is open can be finished."
        raise Conflict(Fault("business-rule", text_, "Task.status"))


def _complete(house: House, operation: Operation, case: Case, signature: Signature) -> tuple[Case, Closed]:
    """The case with nothing owed, or everything that is; what was closed for the reason given is kept to be written."""
    owing = open_items(open_sheet(house, operation.work, operation.exam))
    reason = case.catalogue.reasons.get(signature.remaining)
    faults = [*_unsigned(signature), *_remaining(case, signature, reason)]
    faults += [*_weighed(operation, case, signature), *undecided(case.urgent, case.catalogue.tiers)]
    if not signature.remaining:
        faults += [_owed(step, owed) for step, owed in owing]
    if faults:
        raise RuleBroken(*faults)
    if reason is None or not owing:
        return case, Closed()
    by = signature.interpreter.display or signature.interpreter.reference
    return close_rest(house, operation.work, case, reason=reason, detail=signature.remaining_detail, by=by)


def _owed(step: Step, owed: Owed) -> Fault:
    return Fault("business-rule", f"{step.rule.title}: {owed.text}.", f"Task.where(id='{step.task}').input")


def _remaining(case: Case, signature: Signature, reason: Reason | None) -> Iterator[Fault]:
    if signature.remaining and (reason is None or not reason.remaining):
        known = ", ".join(r.code for r in case.catalogue.reasons.values() if r.remaining)
        yield Fault("value", f"`remaining` is one of {known}.", _where("remaining"))
    elif reason is not None and reason.needs_detail and not signature.remaining_detail:
        yield Fault("required", f"{reason.display}: say more in `detail`.", _where("detail"))


def _unsigned(signature: Signature) -> Iterator[Fault]:
    if not signature.interpreter.display and not signature.interpreter.reference:
        yield Fault("required", "Say who interprets and signs, in `interpreter`.", _where("interpreter"))
    if not signature.conclusions:
        yield Fault("required", "Give at least one `conclusion`.", _where("conclusion"))


def _weighed(operation: Operation, case: Case, signature: Signature) -> Iterator[Fault]:
    if signature.major is None and otherwise(operation.work, case, signature):
        said = "Say in `major` (true or false) whether what differs from the preliminary report can alter the care."
        yield Fault("required", said, _where("major"))


def _billed(house: House, caller: Caller, work: Work, case: Case, payable: bill_exam.ExamFacts) -> bill_exam.Billed:
    exam = replace(case.exam, started=payable.started)
    return bill_exam.perform(
        house, work, caller=caller, exam=exam, facts=payable, catalogue=case.catalogue, practice=case.practice
    )


def _finish(
    house: House, caller: Caller, operation: Operation, case: Case, *, signature: Signature, closed: Closed
) -> Json:
    work, now = operation.work, exact.instant(operation.work.now)
    known = seen(case)
    started = case.exam.started or str(case.procedure.get("performedPeriod", {}).get("start", "")) or now
    report_id = new_id()
    case = judge.whole(case, at=started)
    case, opened = _told_at_once(operation, case, signature, closed=closed)
    said = facts(case, known, signature, started=started, issued=now, edition=Edition())
    said = against(work, case, said, major=signature.major)
    _, report = report_of(case, said, signature, report_id, press=house.press)
    signer = signature.interpreter
    payable = exam_payable.facts(house, work, case, known, started=started, signer=signer, closed=closed)
    billed = _billed(house, caller, work, case, payable)
    status = "completed" if closed.price_effect == "full" else "stopped"
    procedure = moved(
        case.procedure, status, start=started, end=now, reason=closed.why, report=f"DiagnosticReport/{report_id}"
    )
    changed = {r["id"]: r for r in closed.changed}
    invoices = [str(one["id"]) for one in billed.invoices]
    left = changed.pop(case.exam.id, case.task)
    task = _done(case.task if opened else left, signature, closed=closed, now=now, report=report_id, invoices=invoices)
    observations = [_final(o) for o in case.observations]
    rest = [r for r in changed.values() if r["id"] not in {o["id"] for o in observations}]
    money = [*billed.charges, *billed.invoices]
    told = [task, report, procedure, *observations, *case.images, *case.performed, *money]
    urgent = included(work, case.urgent, opened, report=report, now=now)
    rewrite(work, [task, report, procedure, *observations, *money, *rest, *urgent, *_unbegun(case, changed, now)])
    made = {"report": report_id, "invoice": next(reversed(invoices), "")}
    work.save_exam(replace(case.exam, state="finished", started=started, **made))
    delivering.promise(house, work, case, "finished", told)
    references = [("exam", f"Task/{case.exam.id}"), ("report", f"DiagnosticReport/{report_id}")]
    references += [("invoice", f"Invoice/{one}") for one in invoices]
    told_of = [*(("unbilled", one) for one in billed.unpriced), *(("warning", one) for one in billed.warnings)]
    return answered(references=references, words=[*told_of, *unprinted(house.press, report)])


def _told_at_once(operation: Operation, case: Case, signature: Signature, *, closed: Closed) -> tuple[Case, list[Json]]:
    """(the case, what is to be written besides its Task) where the final report differs from what was told before."""
    if not signature.major or not otherwise(operation.work, case, signature):
        return case, []
    by = signature.interpreter.display or signature.interpreter.reference
    edition = Edition(reason="The final report differs from the preliminary one.", by=by, major=True)
    case, opened = discrepancy.opened(
        operation.work, case, closed.changed, edition=edition, conclusions=signature.conclusions
    )
    return case, [one for one in opened if one["id"] != case.exam.id]


def _done(task: Json, signature: Signature, *, closed: Closed, now: str, report: str, invoices: list[str]) -> Json:
    changed = {**task, "status": "completed", "lastModified": now}
    if closed.why:
        coding = {"system": uris.REASON, "code": signature.remaining, "display": closed.why}
        words = signature.remaining_detail or closed.why
        changed["statusReason"] = {"coding": [coding], "text": words}
    made = [("report", f"DiagnosticReport/{report}"), *(("invoice", f"Invoice/{one}") for one in invoices)]
    changed["output"] = [*task.get("output", []), *(outcome(*one) for one in made)]
    return changed


def _final(observation: Json) -> Json:
    open_ = observation.get("status") in {"registered", "preliminary"}
    return {**observation, "status": "final"} if open_ else observation


def _unbegun(case: Case, changed: Mapping[str, Json], now: str) -> list[Json]:
    """The optional steps that nobody began: they end with the exam."""
    left = [t for t in case.tasks if t.get("status") == "draft" and t["id"] not in changed]
    reason = {"text": "Optional, and not begun when the exam was finished."}
    return [{**t, "status": "cancelled", "statusReason": reason, "lastModified": now} for t in left]


def _where(name: str) -> str:
    return f"Parameters.parameter.where(name='{name}')"
