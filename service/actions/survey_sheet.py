"""The stored Tasks of an exam into the sheet on which its survey is worked on."""

from service.actions.ports import House, Work
from service.actions.practices import practice_of
from service.actions.sheet import Sheet, listed, settled
from service.actions.survey_changes import keep
from service.actions.writing import decoded
from service.basics.errors import Conflict, Fault, Missing
from service.basics.stored import Exam
from service.exam.fitting import Scope
from service.exam.rules import StepRule
from service.exam.survey import Step
from service.fhir import exact
from service.fhir.reading.task import entries, read_basis, stored_step

__all__ = ["Sheet", "keep", "listed", "open_sheet", "settled"]

WHOLE = StepRule("exam", 0, "", 0, "", "The exam as a whole", "optional")


def open_sheet(house: House, work: Work, exam: Exam) -> Sheet:
    """The sheet of an exam, judged by the catalogue it was opened with; senders' codes are read by today's rows.

    Raises Conflict when nothing may be entered any more."""
    _open(exam)
    stored = work.get("Task", exam.id)
    if stored is None:
        raise Missing(Fault("not-found", f"There is no exam Task/{exam.id}.", "Task"))
    task, tasks = decoded(stored), work.steps(exam.id)
    animal, service, structures = read_basis(task)
    rules = house.catalogues.of(exam.catalogue)
    protocol = rules.protocols[animal.species]
    known = [stored_step(t.body, protocol) for t in tasks]
    steps = [s for s, shelved in known if not shelved]
    return Sheet(
        exam=exam,
        tasks={t.id: t for t in [stored, *tasks]},
        steps=tuple(sorted(steps, key=lambda s: (s.rule.station, s.rule.sequence))),
        shelved=tuple(s for s, shelved in known if shelved),
        whole=Step(exam.id, WHOLE, entries(task)),
        scope=Scope(protocol, animal, rules.services[service], structures),
        rules=rules,
        practice=practice_of(house, work),
        now=exact.instant(work.now),
    )


def _open(exam: Exam) -> None:
    texts = {
        "finished": "The exam is finished; what is final changes by $amend on its Task.",
        "cancelled": "The exam was cancelled with its order; place a new order.",
        "withdrawn": "The exam was withdrawn; place a new order.",
    }
    if exam.state in texts:
        raise Conflict(Fault("business-rule", texts[exam.state], "Task"))
