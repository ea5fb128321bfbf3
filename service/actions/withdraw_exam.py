"""An exam that must not stand (wrong animal): ours becomes entered-in-error, money is credited, all are told."""

from dataclasses import replace
from typing import Any

from service.actions import delivering
from service.actions.case import Case, open_case
from service.actions.credit_invoice import credit
from service.actions.estimates import ended
from service.actions.operation import Operation, on_exam
from service.actions.ports import Caller, House
from service.actions.preliminary_report import issued
from service.actions.reporting import Signature, facts, report_of, seen
from service.actions.urgent_case import recalls, tasks_of
from service.actions.writing import rewrite
from service.basics.errors import Conflict, Fault, RuleBroken
from service.basics.stored import StepKey
from service.exam.report import Edition
from service.fhir import exact
from service.fhir.reading.parameters import text
from service.fhir.reading.report import WrittenReport, read_report
from service.fhir.writing.parameters import parameters as answered
from service.fhir.writing.procedure import moved, outcome
from service.fhir.writing.report import Party

Json = dict[str, Any]
ERROR = "entered-in-error"


def withdraw(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Withdraw an exam, finished or not; needs `reason` and `by`. The order and an issued invoice stay as they are.

    Raises RuleBroken naming what is missing, Conflict when the exam was cancelled or withdrawn for another reason."""
    with on_exam(house, caller, task_id, parameters, name="withdraw", once=True) as operation:
        if not operation.repeated:
            _check(operation, parameters)
            operation.answer = _withdraw(house, caller, operation, parameters)
        return operation.answer


def _check(operation: Operation, parameters: Json) -> None:
    faults = [
        Fault("required", f"Say {words} in the parameter {name!r}.", f"Parameters.parameter.where(name='{name}')")
        for name, words in (("reason", "why the exam is withdrawn"), ("by", "who withdraws it"))
        if not text(parameters, name)
    ]
    if faults:
        raise RuleBroken(*faults)
    if operation.exam.state == "cancelled":
        raise Conflict(
            Fault("business-rule", "The exam was cancelled before it began; there is nothing to withdraw.", "Task")
        )


def _withdraw(house: House, caller: Caller, operation: Operation, parameters: Json) -> Json:
    work, exam = operation.work, operation.exam
    case = open_case(house, work, caller, exam)
    reason, by = text(parameters, "reason"), text(parameters, "by")
    now = exact.instant(work.now)
    task = {**case.task, "status": ERROR if exam.state == "finished" else "failed", "lastModified": now}
    task["statusReason"] = {"text": reason}
    steps = [{**t, "status": ERROR, "lastModified": now} for t in case.tasks]
    observations = [{**o, "status": ERROR} for o in case.observations]
    procedure = moved(case.procedure, ERROR, reason=reason)
    performed = [{**one, "status": ERROR} for one in case.performed]
    report = _reports(house, operation, case, reason=reason, by=by)
    credited = credit(house, work, exam=exam, practice=case.practice, reason="The exam was withdrawn.")
    credits = [str(one["id"]) for one in credited.invoices]
    if credits:
        task["output"] = [*task.get("output", []), *(outcome("credit", f"Invoice/{one}") for one in credits)]
    money = [*(c for c, _ in credited.changed), *credited.invoices]
    told = [task, *observations, procedure, *performed, *report, *money]
    urgent = [{**one, "status": ERROR} for one in tasks_of(work, case.task)]
    rewrite(work, [*steps, *urgent, *told, *ended(work, case.task, "The exam was withdrawn.")])
    work.save_exam(replace(exam, state="withdrawn", credit=next(reversed(credits), exam.credit)))
    work.save_steps(StepKey(k.exam, k.code, k.task, ERROR) for k in work.step_keys(exam.id))
    delivering.promise(house, work, case, "withdrawn", told)
    references = [("exam", f"Task/{exam.id}"), ("report", _ref("DiagnosticReport", exam.report))]
    references += [("credit", f"Invoice/{one}") for one in credits]
    return answered(references=references, words=[("recall", one) for one in recalls(case.urgent)])


def _reports(house: House, operation: Operation, case: Case, *, reason: str, by: str) -> list[Json]:
    """The report and the preliminary ones as they now read: withdrawn, why and by whom."""
    stored = operation.work.get("DiagnosticReport", case.exam.report) if case.exam.report else None
    found = [exact.decode(stored.body)] if stored else []
    found += issued(operation.work, case.task)
    now = exact.instant(operation.work.now)
    return [_report(house, case, read_report(one), now=now, reason=reason, by=by) for one in found]


def _report(house: House, case: Case, written: WrittenReport, *, now: str, reason: str, by: str) -> Json:
    edition = Edition(
        status=ERROR, number=written.number + 1, reason=reason, by=by, replaced_issued=written.issued,
        changes=("The report is withdrawn: disregard it and destroy copies.",),
    )  # fmt: skip
    signature = signature_of(written)
    said = facts(
        case, seen(case), signature, started=case.exam.started or written.effective, issued=now, edition=edition
    )
    return report_of(case, said, signature, written.id, press=house.press)[1]


def signature_of(written: WrittenReport) -> Signature:
    """What was said when the issue was signed."""
    return Signature(
        interpreter=Party(display=written.interpreter),
        conclusions=written.conclusions,
        differentials=written.differentials,
        recommendations=written.recommendations,
        comparison=written.comparison,
        procedures=written.procedures,
        urgent=written.urgent,
        codes=written.codes,
    )


def _ref(type_: str, id_: str) -> str:
    return f"{type_}/{id_}" if id_ else ""
