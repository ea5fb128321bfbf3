"""An open exam into a preliminary report: labelled as such, kept as a resource of its own, told to all destinations."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from service.actions import delivering
from service.actions.case import Case, open_case
from service.actions.lookup import Lookup
from service.actions.operation import Operation, on_exam
from service.actions.ports import Caller, House, View
from service.actions.reporting import Signature, facts, report_of, seen, unprinted
from service.actions.signing import signature as signature_of
from service.actions.writing import decoded, rewrite
from service.basics.errors import Conflict, Fault, RuleBroken
from service.basics.ids import new_id
from service.exam.report import Edition, Replaced, ReportFacts, compose
from service.exam.report_changes import changed, lines
from service.fhir import exact, uris
from service.fhir.reading.report import WrittenReport, read_report
from service.fhir.writing.parameters import parameters as answered
from service.fhir.writing.procedure import outcome
from service.fhir.writing.report import AUTHORED

Json = dict[str, Any]
KIND = "preliminary-report"
OWN = ("conclusions", "differentials", "recommendations", "comparison", "procedures", "urgent")
OPEN = frozenset({"accepted", "in-progress"})


def preliminary(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Issue a preliminary report of an open exam: `interpreter`, and any of the report's words; complete or not.

    Each is a resource of its own that the final one never overwrites. One that would read as the last one did is not
    issued again: the last one is the answer. Raises RuleBroken without interpreter, Conflict unless the exam is open.
    """
    with on_exam(house, caller, task_id, parameters, name="preliminary", kept=False) as operation:
        if operation.exam.state not in OPEN:
            text_ = f"The exam is {operation.exam.state}; only an open exam has preliminary reports."
            raise Conflict(Fault("business-rule", text_, "Task.status"))
        signature = signature_of(parameters, Lookup(operation.work))
        if not signature.interpreter.display and not signature.interpreter.reference:
            where = "Parameters.parameter.where(name='interpreter')"
            raise RuleBroken(Fault("required", "Say who reports, in `interpreter`.", where))
        operation.answer = _issue(house, caller, operation, signature)
        return operation.answer


def issued(view: View, task: Json) -> list[Json]:
    """The preliminary reports of an exam's Task as they stand, the first one first."""
    outputs = [o for o in task.get("output", []) if _kind(o) == KIND]
    keys = [("DiagnosticReport", o["valueReference"]["reference"].partition("/")[2]) for o in outputs]
    found = view.get_many(keys)
    return [decoded(found[key]) for key in keys if key in found]


def latest(view: View, task: Json) -> WrittenReport | None:
    """The last preliminary report of an exam's Task that was not withdrawn, as it was written."""
    written = [read_report(r) for r in issued(view, task) if r.get("status") != "entered-in-error"]
    return written[-1] if written else None


def otherwise(view: View, case: Case, signature: Signature) -> bool:
    """Whether a person's own words differ from those of the last preliminary report, if there was any."""
    before = latest(view, case.task)
    return before is not None and any(getattr(before, name) != getattr(signature, name) for name in OWN)


def against(view: View, case: Case, said: ReportFacts, *, major: bool | None = None) -> ReportFacts:
    """The facts of the final report with what its reader must know of the last preliminary one, if there was any.

    major: whether the author says that the difference can alter the animal's care."""
    before = latest(view, case.task)
    if before is None:
        return said
    now = lines(compose(said, case.catalogue))
    own = {title for key, title in case.catalogue.sections if key in AUTHORED}
    old, new = ([line for line in many if line.section in own] for many in (before.lines, now))
    spoken = changed(old, new, case.catalogue.phrases)
    others = len(changed(before.lines, now, case.catalogue.phrases)) - len(spoken)
    replaced = Replaced(before.id, before.issued, max(others, 0))
    return replace(said, edition=replace(said.edition, changes=tuple(spoken), preliminary=replaced, major=major))


def _kind(output: Json) -> str:
    codings = output.get("type", {}).get("coding", [])
    return next((str(c.get("code", "")) for c in codings if c.get("system") == uris.ITEM), "")


def _issue(house: House, caller: Caller, operation: Operation, signature: Signature) -> Json:
    work = operation.work
    case = open_case(house, work, caller, operation.exam)
    before = latest(work, case.task)
    now, number = exact.instant(work.now), before.number + 1 if before else 1
    started = case.exam.started or str(case.procedure.get("performedPeriod", {}).get("start", "")) or now
    said = facts(
        case, seen(case), signature, started=started, issued=now,
        edition=Edition("preliminary", number, replaced_issued=before.issued if before else ""),
    )  # fmt: skip
    if before is not None and not changed(before.lines, compose(said, case.catalogue), case.catalogue.phrases):
        return _answer(case, before.id, before.number)
    id_ = new_id()
    _, report = report_of(case, said, signature, id_, press=house.press)
    output = [*case.task.get("output", []), outcome(KIND, f"DiagnosticReport/{id_}")]
    rewrite(work, [report, {**case.task, "output": output, "lastModified": now}])
    delivering.promise(house, work, case, "preliminary", [report], number=number)
    return _answer(case, id_, number, besides=unprinted(house.press, report))


def _answer(case: Case, report: str, number: int, *, besides: Iterable[tuple[str, str]] = ()) -> Json:
    references = [("exam", f"Task/{case.exam.id}"), ("report", f"DiagnosticReport/{report}")]
    return answered(references=references, words=[("version", str(number)), *besides])
