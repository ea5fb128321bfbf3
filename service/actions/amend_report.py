"""A final report into its next version: what changed, why and by whom; delivered to all who had the one before."""

from dataclasses import replace
from typing import Any

from service.actions import corrections, delivering, discrepancy
from service.actions.case import Case, open_case
from service.actions.operation import Operation, on_exam
from service.actions.ports import Caller, House
from service.actions.reporting import Signature, facts, report_of, seen, unprinted
from service.actions.signing import codes
from service.actions.urgent_case import included, renewed
from service.actions.withdraw_exam import signature_of
from service.actions.writing import rewrite
from service.basics.errors import Conflict, Fault, RuleBroken
from service.exam.report import Edition, compose
from service.exam.report_changes import changed
from service.fhir import exact
from service.fhir.reading.parameters import named, text
from service.fhir.reading.report import WrittenReport, read_report
from service.fhir.writing.parameters import parameters as answered

Json = dict[str, Any]
KINDS = ("amended", "corrected", "appended")
WEIGHED = frozenset({"amended", "corrected"})  # its author says whether it can alter the animal's care
NEEDED = (
    ("status", f"which kind of change it is ({', '.join(KINDS)})"),
    ("reason", "why the report changes"),
    ("by", "who changes it"),
)
TEXTS = ("conclusion", "differential", "recommendation", "comparison", "procedure", "urgent")


def amend(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Issue the next version of a finished exam's report: `status`, `reason`, `by`, and what is said anew.

    conclusion, differential, recommendation ... replace what stood there (appended: they are added to it);
    observation: a corrected Observation of the exam, whole, with its id. Money is never touched.
    Raises RuleBroken naming all that is missing or unchanged, Conflict when there is no final report or when this very
    amendment was made before and overtaken by another."""
    with on_exam(house, caller, task_id, parameters, name="amend") as operation:
        if operation.repeated:
            _still_stands(operation)
        else:
            _check(operation, parameters)
            operation.answer = _amend(house, caller, operation, parameters)
        return operation.answer


def _still_stands(operation: Operation) -> None:
    """Refuse the repeat of an amendment that was overtaken: answered in silence, it would pass for a change back."""
    stored = operation.work.get("DiagnosticReport", operation.exam.report)
    number = read_report(exact.decode(stored.body)).number if stored else 0
    issued = text(operation.answer, "version")
    if issued != str(number):
        words = f"This was issued as version {issued}; by now the report is at version {number}."
        again = "If it is meant anew, give it a reason of its own."
        raise Conflict(Fault("business-rule", f"{words} {again}", "Parameters"))


def _check(operation: Operation, parameters: Json) -> None:
    if operation.exam.state != "finished":
        text_ = f"Only the report of a finished exam can be amended; this one is {operation.exam.state}."
        raise Conflict(Fault("business-rule", text_, "Task.status"))
    faults = [
        Fault("required", f"Say {words} in the parameter {name!r}.", _where(name))
        for name, words in NEEDED
        if not text(parameters, name)
    ]
    if text(parameters, "status") and text(parameters, "status") not in KINDS:
        faults.append(Fault("value", f"status is one of {', '.join(KINDS)}.", _where("status")))
    if text(parameters, "status") in WEIGHED and _major(parameters) is None:
        words = "Say in `major` (true or false) whether the change can alter the animal's care."
        faults.append(Fault("required", words, _where("major")))
    if not any(named(parameters, name) for name in (*TEXTS, "observation")):
        words = f"Nothing is said anew: give at least one of {', '.join(TEXTS)} or observation."
        faults.append(Fault("required", words, "Parameters.parameter"))
    if faults:
        raise RuleBroken(*faults)


def _amend(house: House, caller: Caller, operation: Operation, parameters: Json) -> Json:
    work, exam = operation.work, operation.exam
    case = open_case(house, work, caller, exam)
    stored = work.get("DiagnosticReport", exam.report)
    if stored is None:
        raise Conflict(Fault("business-rule", "The exam's report is not there to be amended.", "Task"))
    written = read_report(exact.decode(stored.body))
    given, kind = named(parameters, "observation"), text(parameters, "status")
    case, corrected = corrections.take(house, work, caller, case, given, kind=kind)
    case = replace(case, urgent=renewed(case.urgent, corrected.others))
    signature = _signature(written, parameters)
    edition = _edition(operation, written, parameters)
    case, opened = discrepancy.opened(work, case, corrected.others, edition=edition, conclusions=signature.conclusions)
    report = _report(house, case, signature, edition, written=written, now=exact.instant(work.now))
    computed = [o for o in corrected.others if o["resourceType"] == "Observation"]
    told = [report, *corrected.observations, *computed]
    known = {one["id"] for one in opened}
    rest = [o for o in corrected.others if o["resourceType"] != "Observation" and o["id"] not in known]
    rewrite(work, [*told, *included(work, case.urgent, [*rest, *opened], report=report, now=exact.instant(work.now))])
    number = edition.number
    delivering.promise(house, work, case, "amended", told, number=number)
    return answered(
        references=[
            ("exam", f"Task/{exam.id}"),
            ("report", f"DiagnosticReport/{exam.report}"),
            ("task", case.urgent[-1].message if opened else ""),
        ],
        words=[
            ("version", str(number)),
            *[("change", line) for line in report_changes(report)],
            *unprinted(house.press, report),
        ],
    )


def _report(
    house: House, case: Case, signature: Signature, edition: Edition, *, written: WrittenReport, now: str
) -> Json:
    """Composed twice: the first tells what changed, which the second then states."""
    said = facts(case, seen(case), signature, started=case.exam.started, issued=now, edition=edition)
    changes = changed(written.lines, compose(said, case.catalogue), case.catalogue.phrases)
    if not changes:
        raise RuleBroken(Fault("business-rule", "The report would read the same: nothing is amended.", "Parameters"))
    said = replace(said, edition=replace(edition, changes=tuple(changes)))
    return report_of(case, said, signature, case.exam.report, press=house.press)[1]


def report_changes(report: Json) -> tuple[str, ...]:
    """What a report says has changed."""
    return read_report(report).changes


def _edition(operation: Operation, written: WrittenReport, parameters: Json) -> Edition:
    destinations = sorted({name for name, event in operation.work.posted(operation.exam.id)})
    return Edition(
        status=text(parameters, "status"),
        number=written.number + 1,
        reason=text(parameters, "reason"),
        by=text(parameters, "by"),
        told=tuple(destinations),
        replaced_issued=written.issued,
        major=_major(parameters),
    )


def _major(parameters: Json) -> bool | None:
    """Whether the author says that the change can alter the animal's care; None when that is not said."""
    said = next(iter(named(parameters, "major")), None)
    return said if isinstance(said, bool) else None


def _signature(written: WrittenReport, parameters: Json) -> Signature:
    old = signature_of(written)
    added = text(parameters, "status") == "appended"

    def said(name: str, before: tuple[str, ...]) -> tuple[str, ...]:
        given = tuple(str(t).strip() for t in named(parameters, name) if str(t).strip())
        return (*before, *given) if added else (given or before)

    return replace(
        old,
        conclusions=said("conclusion", old.conclusions),
        differentials=said("differential", old.differentials),
        recommendations=said("recommendation", old.recommendations),
        comparison=said("comparison", old.comparison),
        procedures=said("procedure", old.procedures),
        urgent=said("urgent", old.urgent),
        codes=(*old.codes, *codes(parameters)) if added else codes(parameters) or old.codes,
    )


def _where(name: str) -> str:
    return f"Parameters.parameter.where(name='{name}')"
