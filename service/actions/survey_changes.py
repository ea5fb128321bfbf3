"""What differs between two states of a sheet into the Tasks and Observations to write, and the rows to save."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any

from service.actions.ports import Work
from service.actions.sheet import Sheet
from service.actions.writing import decoded
from service.basics.stored import StepKey
from service.exam import moments, survey_state
from service.exam.entries import ON_RECORD, head, live, newly_retracted
from service.exam.survey import Owed, Step
from service.fhir.writing.observation import withdrawn
from service.fhir.writing.task import step_task, update_exam, update_step

Json = dict[str, Any]
SHELVED = ("cancelled", "out-of-scope")


def keep(work: Work, before: Sheet, after: Sheet, *, sent: Iterable[str] = ()) -> list[Json]:
    """The resources that changed from one sheet to the other, to be written; the exam and step rows are saved.

    sent: references of resources that the caller writes itself; their versions are not touched here."""
    changed = [*_steps(before, after)]
    written = [*after.written, *_withdrawn(work, before, after, sent=set(sent))]
    moved = [(step, task["status"]) for step, was, task in changed if was != task["status"]]
    work.save_steps(StepKey(after.exam.id, step.rule.code, step.task, status) for step, status in moved)
    whole = _whole(work, before, after, touched=bool(changed))
    return [*whole, *(task for _, _, task in changed), *written]


def _steps(before: Sheet, after: Sheet) -> Iterator[tuple[Step, str, Json]]:
    """(step, the status its Task had, the Task as it is now) of each step that changed."""
    old = {s.task: (s, False) for s in before.steps} | {s.task: (s, True) for s in before.shelved}
    for step, off in [*((s, False) for s in after.steps), *((s, True) for s in after.shelved)]:
        if old.get(step.task) == (step, off):
            continue
        owed = () if off else after.owed(step)
        state = SHELVED if off else survey_state.state(step, owed)
        known = after.tasks.get(step.task)
        if known is None:
            yield step, "", new_step(after, step, owed=owed, state=state)
        else:
            task = decoded(known)
            told = after.prompts(step)
            new = update_step(task, step, owed=owed, state=state, now=after.now, prompts=told)
            yield step, task["status"], new


def new_step(sheet: Sheet, step: Step, *, owed: Sequence[Owed], state: tuple[str, str]) -> Json:
    """The Task of a step that the exam did not have."""
    exam = sheet.exam
    return step_task(
        step,
        owed,
        state=state,
        exam_id=exam.id,
        order_id=exam.order,
        animal_id=exam.animal,
        now=sheet.now,
        prompts=sheet.prompts(step),
    )


def _whole(work: Work, before: Sheet, after: Sheet, *, touched: bool) -> list[Json]:
    """The exam's Task when anything was entered for it, and the exam's row: begun, and since when."""
    if not touched and before.whole == after.whole:
        return []
    begins = any(_begins(s) for s in (*after.steps, *after.shelved, after.whole))
    exam = replace(after.exam, state="in-progress", started=_started(before, after)) if begins else after.exam
    if exam != before.exam:
        work.save_exam(exam)
    if before.whole == after.whole and before.exam.state == exam.state:
        return []
    task = decoded(after.tasks[exam.id])
    status = "in-progress" if begins and task["status"] == "accepted" else task["status"]
    return [update_exam(task, after.whole.entries, status=status, now=after.now)]


def _begins(step: Step) -> bool:
    """Whether anything was entered, be it taken back again, but what the animal's record says."""
    return any(head(e) != ON_RECORD for e in step.entries)


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
    if not gone:
        return []
    standing = {e.source for s in (*after.steps, *after.shelved) for e in live(s)}
    sources = {e.source for e in gone if e.act and e.source} - sent - standing
    stored = work.get_many(_key(s) for s in sorted(sources))
    return [withdrawn(decoded(one)) for one in stored.values() if not one.deleted]


def _key(source: str) -> tuple[str, str]:
    type_, _, id_ = source.partition("/")
    return type_, id_
