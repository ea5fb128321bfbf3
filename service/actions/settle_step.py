"""$settle: one explicit act on a step, or "all as expected" on a station, from Parameters to the stored Tasks."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from service.actions import derive, judge, note_evidence, referral_told, suggest_urgent, tracing
from service.actions.ports import Caller, House, Work
from service.actions.survey_acts import act_on
from service.actions.survey_sheet import Sheet, keep, open_sheet, settled
from service.actions.writing import decoded, rewrite
from service.basics.errors import Fault, Invalid, Missing, RuleBroken
from service.basics.ids import new_id
from service.basics.stored import Exam
from service.exam.act import Act
from service.exam.entries import UNREAD, disposition, items, kind
from service.exam.on_record import waits
from service.exam.settle_faults import own_disposition
from service.exam.survey import Step
from service.fhir import exact
from service.fhir.reading.settle import read_act

Json = dict[str, Any]
STATION = "station-"  # how the key of an act on a whole station begins


def settle(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Settle a step (answers its Task) or, with `station`, a station of an exam (answers a Bundle of its Tasks).

    Safe to repeat. Raises Missing for a Task of no exam, Invalid and RuleBroken with all faults, Conflict when the
    exam takes nothing more or a later look says otherwise."""
    with house.books.begin(caller.organization) as work:
        exam = _exam(work, task_id)
        act = read_act(parameters, key=new_id(), now=exact.instant(work.now), by=caller.label)
        before = open_sheet(house, work, exam)
        on_station = task_id == exam.id
        after = _station(before, act) if on_station else _step(work, before, task_id=task_id, act=act)
        after = derive.derived(work, before, after)
        after, urgent = suggest_urgent.suggest(work, before, after)
        changed = judge.judge_all(work, before, after, [*keep(work, before, after), *urgent])
        referral_told.begun(house, work, exam)
        stored = {(s.type, s.id): s for s in rewrite(work, changed)}
        touched = [f"{t}/{i}" for t, i in stored]
        work.trace(tracing.operation(work, caller, "settle", task=task_id, entities=touched))
        wanted = [s.task for s in after.steps if s.rule.station == act.station] if on_station else [task_id]
        found = [stored.get(("Task", t)) or work.get("Task", t) for t in wanted]
        tasks = [decoded(s) for s in found if s is not None]
    return _bundle(tasks) if on_station else tasks[0]


def _exam(work: Work, task_id: str) -> Exam:
    known = work.exam(task_id) or work.exam_of_step(task_id)
    exam = work.lock_exam(known.id) if known else None
    if exam is None:
        raise Missing(Fault("not-found", f"Task/{task_id} is neither an exam's nor a step's.", "Task"))
    return exam


def _step(work: Work, before: Sheet, *, task_id: str, act: Act) -> Sheet:
    """The sheet after an act on one step; evidence that waited for steps which an answer has added finds them."""
    step = next((s for s in before.steps if s.task == task_id), None)
    if step is None:
        raise RuleBroken(Fault("business-rule", "This step does not apply to the animal; nothing is owed.", "Task"))
    after = settled(act_on(before, [(step.rule.code, act)]))
    if {s.rule.code for s in after.steps} != {s.rule.code for s in before.steps}:
        after = note_evidence.again(work, after, by=act.by)
    return after


def _station(before: Sheet, act: Act) -> Sheet:
    faults = list(_station_faults(before, act))
    if faults:
        raise Invalid(*faults)
    here = [s for s in before.steps if s.rule.station == act.station]
    if act.retract:
        return settled(act_on(before, [(s.rule.code, replace(act, station=None)) for s in _last_said(here)]))
    expected = replace(act, key=f"{STATION}{act.key}", disposition="seen", station=None)
    return settled(act_on(before, [(s.rule.code, expected) for s in here if _expectable(before, s)]))


def _expectable(sheet: Sheet, step: Step) -> bool:
    """Whether "all as expected here" speaks of the step: open, begun or owed, not put off, nothing waiting."""
    state = sheet.state(step)
    unread = any(item.startswith(UNREAD) for item in items(step))
    return state[0] == "ready" and state[1] != "deferred" and _undecided(step) and not unread and not waits(step)


def _undecided(step: Step) -> bool:
    """No disposition holds, or only that another step settled it; one that a later look overtook does not count."""
    holds = disposition(step)
    return holds is None or kind(holds) == "settled-elsewhere"


def _last_said(steps: Iterable[Step]) -> list[Step]:
    """The steps of the latest act on the station as a whole."""
    said = {s.task: last.act for s in steps if (last := own_disposition(s)) and last.act.startswith(STATION)}
    latest = max(said.values(), default="")
    return [s for s in steps if said.get(s.task) == latest and latest]


def _station_faults(sheet: Sheet, act: Act) -> Iterable[Fault]:
    stations = sorted({s.rule.station for s in sheet.steps if s.rule.station})
    if act.station is None:
        text = "Give the station that is as expected, or settle one step at its own Task (Task/<step>/$settle)."
        yield Fault("required", text, "Parameters.parameter.where(name='station')")
    elif act.station not in stations:
        known = ", ".join(map(str, stations))
        yield Fault("value", f"This exam has no station {act.station}; it has {known}.", "Parameters.parameter")
    if act.disposition not in {"", "seen"} or act.reason or act.item or act.planes or act.answers or act.operation:
        text = "A whole station can only be as expected (seen); anything else is said of one step, at its own Task."
        yield Fault("business-rule", text, "Parameters.parameter")


def _bundle(tasks: list[Json]) -> Json:
    entries = [{"resource": task} for task in tasks]
    return {"resourceType": "Bundle", "type": "collection", **({"entry": entries} if entries else {})}
