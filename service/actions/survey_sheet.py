"""The survey of one exam while it is worked on: its steps, what they owe, and the Tasks in which that is kept."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from service.actions.ports import House, Work
from service.actions.writing import decoded
from service.basics.errors import Conflict, Fault, Missing
from service.basics.ids import new_id
from service.basics.stored import Exam, StepKey
from service.billing.practice import Practice
from service.catalogue.catalogue import Catalogue
from service.exam import moments, survey_state
from service.exam.entries import live, newly_retracted
from service.exam.fitting import Scope, fitted
from service.exam.rules import Attribute, StepRule
from service.exam.survey import Entry, Owed, Step
from service.fhir import exact
from service.fhir.reading.practice import practice
from service.fhir.reading.task import entries, read_basis, read_step
from service.fhir.writing.observation import withdrawn
from service.fhir.writing.task import step_task, update_exam, update_step

Json = dict[str, Any]
WHOLE = StepRule("exam", 0, "", 0, "", "The exam as a whole", "optional")
SHELVED = ("cancelled", "out-of-scope")


@dataclass(frozen=True, slots=True)
class Sheet:
    """steps in scanning order; shelved: those that an answer ruled out; whole: what concerns no single step.

    tasks holds the resources as stored, by id; written the Observations that acts have made; now is an instant."""

    exam: Exam
    tasks: dict[str, Json]
    steps: tuple[Step, ...]
    shelved: tuple[Step, ...]
    whole: Step
    scope: Scope
    rules: Catalogue
    practice: Practice
    now: str
    written: tuple[Json, ...] = ()

    def step(self, code: str) -> Step:
        """The step of a code that the exam has."""
        return next(s for s in self.steps if s.rule.code == code)

    def attributes(self, step: Step) -> tuple[Attribute, ...]:
        """The vocabulary of the step's structure; nothing for a step that asks."""
        structure = self.rules.structures.get(step.rule.structure)
        return self.rules.vocabularies.get(structure.vocabulary, ()) if structure else ()

    def owed(self, step: Step) -> tuple[Owed, ...]:
        """What the step still owes, by its exam's catalogue and the practice's wishes."""
        return survey_state.owed(
            step,
            self.attributes(step),
            stills_owed=self.practice.stills_owed,
            clips_owed=self.practice.clips_owed,
            titles=self._titles(step),
        )

    def state(self, step: Step) -> tuple[str, str]:
        """(Task.status, business status) of the step."""
        return survey_state.state(step, self.owed(step))

    def with_steps(self, changed: Iterable[Step]) -> "Sheet":
        """The sheet with these steps in the place of their earlier state."""
        new = {s.rule.code: s for s in changed}
        return replace(self, steps=tuple(new.get(s.rule.code, s) for s in self.steps))

    def _titles(self, step: Step) -> dict[str, str]:
        species, structure = self.scope.animal.species, step.rule.structure
        rows = {m: self.rules.measures.get((species, structure, m)) for m in step.rule.measures}
        return {f"measure:{m}": row.title for m, row in rows.items() if row}


def open_sheet(house: House, work: Work, exam: Exam) -> Sheet:
    """The sheet of an exam, judged by the catalogue it was opened with; senders' codes are read by today's rows.

    Raises Conflict when nothing may be entered any more."""
    _open(exam)
    stored = work.get("Task", exam.id)
    if stored is None:
        raise Missing(Fault("not-found", f"There is no exam Task/{exam.id}.", "Task"))
    task, tasks = decoded(stored), [decoded(s) for s in work.steps(exam.id)]
    animal, service, structures = read_basis(task)
    rules = _today(house, house.catalogues.of(exam.catalogue))
    protocol = rules.protocols[animal.species]
    known = [(read_step(t, protocol), t.get("status") == "cancelled") for t in tasks]
    steps = [s for s, shelved in known if not shelved]
    return Sheet(
        exam=exam,
        tasks={t["id"]: t for t in [task, *tasks]},
        steps=tuple(sorted(steps, key=lambda s: (s.rule.station, s.rule.sequence))),
        shelved=tuple(s for s, shelved in known if shelved),
        whole=Step(exam.id, WHOLE, entries(task)),
        scope=Scope(protocol, animal, rules.services[service], structures),
        rules=rules,
        practice=practice_in_force(house.catalogues.current, work),
        now=exact.instant(work.now),
    )


def practice_in_force(catalogue: Catalogue, work: Work) -> Practice:
    """The practice's own settings over the row of the mappings."""
    row = catalogue.practices.get(work.organization) or catalogue.practices["*"]
    return practice(work.practice_text(), row, currencies=catalogue.currencies)


def settled(sheet: Sheet) -> Sheet:
    """The sheet after second looks took effect and answers added, took up or shelved steps."""
    steps, shelved = fitted(sheet.steps, sheet.shelved, scope=sheet.scope, new_task=new_id)
    sheet = replace(sheet, steps=steps, shelved=shelved)
    done = [s.rule.code for s in steps if s.rule.settles and sheet.state(s) in _SEEN]
    return replace(sheet, steps=survey_state.settle_elsewhere(steps, done))


_SEEN = {("completed", "seen"), ("completed", "seen-part")}


def keep(work: Work, before: Sheet, after: Sheet, *, sent: Iterable[str] = ()) -> list[Json]:
    """The resources that changed from one sheet to the other, to be written; the exam and step rows are saved.

    sent: references of resources that the caller writes itself; their versions are not touched here."""
    changed = [*_steps(before, after)]
    written = [*after.written, *_withdrawn(work, before, after, sent=set(sent))]
    work.save_steps(StepKey(after.exam.id, s.rule.code, s.task, t["status"]) for s, t in changed)
    whole = _whole(work, before, after, touched=bool(changed))
    return [*whole, *(t for _, t in changed), *written]


def _steps(before: Sheet, after: Sheet) -> Iterator[tuple[Step, Json]]:
    old = {s.task: (s, False) for s in before.steps} | {s.task: (s, True) for s in before.shelved}
    for step, off in [*((s, False) for s in after.steps), *((s, True) for s in after.shelved)]:
        if old.get(step.task) == (step, off):
            continue
        owed, state = ((), SHELVED) if off else (after.owed(step), after.state(step))
        known = after.tasks.get(step.task)
        if known is None:
            yield step, new_step(after, step, owed=owed, state=state)
        else:
            yield step, update_step(known, step, owed=owed, state=state, now=after.now)


def new_step(sheet: Sheet, step: Step, *, owed: Sequence[Owed], state: tuple[str, str]) -> Json:
    """The Task of a step that the exam did not have."""
    exam = sheet.exam
    return step_task(
        step, owed, state=state, exam_id=exam.id, order_id=exam.order, animal_id=exam.animal, now=sheet.now
    )


def _whole(work: Work, before: Sheet, after: Sheet, *, touched: bool) -> list[Json]:
    """The exam's Task when anything was entered for it, and the exam's row: begun, and since when."""
    if not touched and before.whole == after.whole:
        return []
    exam = replace(after.exam, state="in-progress", started=_started(before, after))
    if exam != before.exam:
        work.save_exam(exam)
    if before.whole == after.whole and before.exam.state == exam.state:
        return []
    return [update_exam(after.tasks[exam.id], after.whole.entries, status="in-progress", now=after.now)]


def _started(before: Sheet, after: Sheet) -> str:
    """The earliest time among all that counts; what began the exam beside its entries keeps counting."""
    known = before.exam.started
    times = [*_times(after), *([known] if known and known not in _times(before) else [])]
    return moments.earliest(times) or min(filter(None, times), default="")


def _times(sheet: Sheet) -> list[str]:
    return [e.at for s in (*sheet.steps, *sheet.shelved, sheet.whole) for e in live(s)]


def _withdrawn(work: Work, before: Sheet, after: Sheet, *, sent: set[str]) -> list[Json]:
    """Observations that acts had made and that no longer hold, as entered in error."""
    old = {s.task: s for s in (*before.steps, *before.shelved)}
    gone = [e for s in (*after.steps, *after.shelved) if s.task in old for e in newly_retracted(old[s.task], s)]
    standing = {e.source for s in (*after.steps, *after.shelved) for e in live(s)}
    sources = {e.source for e in gone if e.act and e.source} - sent - standing
    stored = work.get_many(_key(s) for s in sorted(sources))
    return [withdrawn(decoded(one)) for one in stored.values() if not one.deleted]


def _key(source: str) -> tuple[str, str]:
    type_, _, id_ = source.partition("/")
    return type_, id_


def _today(house: House, rules: Catalogue) -> Catalogue:
    """The exam's catalogue with today's rows for senders' codes."""
    now = house.catalogues.current
    if now is rules:
        return rules
    return replace(
        rules, sites=now.sites, lateralities=now.lateralities, organs=now.organs, properties=now.properties,
        words=now.words, planes=now.planes, plane_codings=now.plane_codings,
    )  # fmt: skip


def _open(exam: Exam) -> None:
    texts = {
        "finished": "The exam is finished; what is final changes by $amend on its Task.",
        "cancelled": "The exam was cancelled with its order; place a new order.",
        "withdrawn": "The exam was withdrawn; place a new order.",
    }
    if exam.state in texts:
        raise Conflict(Fault("business-rule", texts[exam.state], "Task"))


def listed(sheet: Sheet, *heads: str) -> list[Entry]:
    """The live entries of the exam as a whole of these kinds ("unmapped", "outside", "note")."""
    return [e for e in live(sheet.whole) if e.item.partition(":")[0] in heads]
