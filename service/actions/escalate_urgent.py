"""The urgent findings that are still open, by the clock: who must decide or be told, and what is late."""

import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from service.actions import referral_urgent, tracing
from service.actions.gathering import all_of
from service.actions.ports import Caller, House, View, Work
from service.actions.writing import decoded, rewrite
from service.basics.errors import Refusal
from service.exam import urgent_state
from service.exam.urgent_record import UrgentRecord
from service.fhir import exact, uris
from service.fhir.reading import urgent as reading
from service.fhir.reading.names import name_of
from service.fhir.reading.task import entries
from service.fhir.writing import urgent as writing

Json = dict[str, Any]
CLOCK = "clock"  # who escalates, in the audit
OPEN = {urgent_state.FINDING_TASK: "ready,requested", urgent_state.MESSAGE_TASK: "requested,in-progress"}


@dataclass(frozen=True, slots=True)
class OpenMatter:
    """An urgent finding that is open, as it stands at the time asked for; late: its clock passed something unwritten.

    task: id of the Task that is to be done, exam: id of the exam's; animal: its name."""

    record: UrgentRecord
    task: str
    exam: str
    animal: str
    late: bool


def clock() -> str:
    """The time as it is now."""
    return exact.instant(datetime.now(UTC))


def open_matters(house: House, view: View, *, now: str) -> list[OpenMatter]:
    """What is open in one organisation at an instant, the latest and most urgent first. Nothing is written."""
    found = [_matter(view, task, now=now) for kind in OPEN for task in _open(house, view, kind)]
    return sorted(found, key=lambda m: (_LATE.index(m.record.standing), m.record.tier, m.record.due))


_LATE = ["overdue", "escalated", "suggested", "waiting", "attempted"]


def escalate(house: House, organization: str, *, now: str = "") -> int:
    """Write on each open Task what its clock has passed; answers how many changed. now: an instant, else the store's.

    Any number of processes may do this at once: the exam is held, and what is written already stays as it is."""
    with house.books.view(organization) as view:
        late = [m for m in open_matters(house, view, now=now or clock()) if m.late]
    caller = Caller(organization, "practice", (), CLOCK)
    return sum(_escalated(house, caller, one, now=now) for one in late)


def watch(house: House, organizations: Callable[[], Iterable[str]], *, stop: threading.Event, pause: float) -> None:
    """Escalate in all organisations, again and again until told to stop; a busy store is asked again next time."""
    while not stop.wait(pause):
        with suppress(Refusal):
            for organization in organizations():
                with suppress(Refusal):  # one that is busy keeps nobody else waiting
                    escalate(house, organization)


def _open(house: House, view: View, kind: str) -> Iterator[Json]:
    return iter(all_of(house, view, "Task", code=f"{uris.TASK_CODE}|{kind}", status=OPEN[kind]))


def _matter(view: View, task: Json, *, now: str) -> OpenMatter:
    ticked = _ticked(task, now=now)
    told = reading.kind(task) == urgent_state.MESSAGE_TASK
    finding = (_parent(view, task) if told else ticked) or task
    record = reading.record(finding, ticked if told else None)
    animal = view.get(*_key(task["for"]))
    name = name_of(decoded(animal)) if animal and not animal.deleted else ""
    exam = _key(finding.get("partOf", [{}])[0])[1]  # of a finding that another organisation told of there is none
    return OpenMatter(record, str(task["id"]), exam, name, bool(exam) and ticked is not task)


def _escalated(house: House, caller: Caller, one: OpenMatter, *, now: str) -> bool:
    with house.books.begin(caller.organization) as work:
        exam = work.lock_exam(one.exam)
        stored = work.get("Task", one.task)
        if stored is None or exam is None:
            return False
        task = decoded(stored)
        ticked = _ticked(task, now=now or exact.instant(work.now))
        if ticked is task or task["status"] not in {"ready", "requested", "in-progress"}:
            return False
        ticked = referral_urgent.passed_on(house, work, exam, task, ticked)
        _keep(work, caller, ticked)
        referral_urgent.remind(house, work, caller, exam, ticked)
    return True


def _keep(work: Work, caller: Caller, task: Json) -> None:
    rewrite(work, [task])
    work.trace(tracing.operation(work, caller, "urgent", task=task["id"], entities=[f"Task/{task['id']}"]))


def _ticked(task: Json, *, now: str) -> Json:
    """The Task with what its clock has passed; the very same when that is nothing new."""
    held = entries(task)
    after = urgent_state.ticked(held, escalates_at=reading.escalates(task), due=reading.due(task), now=now)
    if after == held:
        return task
    if reading.kind(task) == urgent_state.MESSAGE_TASK:
        return writing.update_message(task, after, now=now)
    return writing.update_finding(task, after, waits=task["status"] == "ready", now=now)


def _parent(view: View, task: Json) -> Json:
    stored = view.get(*_key(task["partOf"][0]))
    return decoded(stored) if stored is not None else {}


def _key(reference: Json) -> tuple[str, str]:
    type_, _, id_ = str(reference.get("reference", "")).partition("/")
    return type_, id_
