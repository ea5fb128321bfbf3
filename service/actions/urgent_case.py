"""The urgent findings of an exam as they stand, and the one that a person acts on, held until the end."""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any

from service.actions import tracing
from service.actions.ports import Caller, House, View, Work
from service.actions.writing import decoded, rewrite
from service.basics.errors import Conflict, Fault, Missing
from service.basics.stored import Exam
from service.catalogue.catalogue import Catalogue
from service.exam.urgent import Tier
from service.exam.urgent_record import UrgentRecord
from service.exam.urgent_state import FINDING_TASK, MESSAGE_TASK
from service.fhir import exact
from service.fhir.reading import urgent as reading
from service.fhir.writing import urgent as writing
from service.fhir.writing.parameters import parameters

Json = dict[str, Any]
CLOSED = {
    "cancelled": "The exam was cancelled with its order; nothing was found in it.",
    "withdrawn": "The exam was withdrawn, and its urgent findings with it.",
}


@dataclass(slots=True)
class Matter:
    """What a person acts on: the exam, and of one urgent finding its Task and what tells somebody of it, as stored.

    changed: what is to be written when the act is done; answer: what it is answered with."""

    work: Work
    exam: Exam
    rules: Catalogue
    task: Json
    finding: Json | None = None
    message: Json | None = None
    communication: Json | None = None
    changed: list[Json] = field(default_factory=list)
    answer: Json = field(default_factory=dict)

    @property
    def now(self) -> str:
        """The time of this act."""
        return exact.instant(self.work.now)


@contextmanager
def on_matter(house: House, caller: Caller, task_id: str, *, name: str) -> Iterator[Matter]:
    """The exam, urgent finding or message whose Task this is, the exam held until all of it is written.

    Raises Missing for any other Task, Conflict when the exam was cancelled or withdrawn."""
    with house.books.begin(caller.organization) as work:
        exam = work.lock_exam(_exam_id(work, task_id))
        if exam is None:
            raise _no_matter(task_id)
        if exam.state in CLOSED:
            raise Conflict(Fault("business-rule", CLOSED[exam.state], "Task"))
        matter = Matter(work, exam, house.catalogues.of(exam.catalogue), _task(work, exam.id))
        asked = _task(work, task_id)
        kind = reading.kind(asked)
        if kind:
            about(matter, task_id if kind == FINDING_TASK else _parent(asked))
        yield matter
        touched = [f"{s.type}/{s.id}" for s in rewrite(work, matter.changed)]
        work.trace(tracing.operation(work, caller, name, task=task_id, entities=touched))


def about(matter: Matter, finding: str) -> None:
    """Let the matter be about the urgent finding of this Task id."""
    matter.finding = _task(matter.work, finding)
    told = reading.message_of(matter.finding)
    if told:
        matter.message = _task(matter.work, told)
        matter.communication = _spoken(matter.work, matter.message)


def records_of(view: View, task: Json) -> tuple[UrgentRecord, ...]:
    """The urgent findings that an exam's Task names, the most urgent first, as they stand."""
    findings = [f for id_ in reading.found_on(task).values() if (f := _stored(view, "Task", id_))]
    found = [_record(view, one) for one in findings]
    return tuple(sorted(found, key=lambda r: (r.tier, r.identified_at)))


def undecided(found: Iterable[UrgentRecord], tiers: Mapping[int, Tier]) -> Iterator[Fault]:
    """One fault for each suggestion that the report waits for."""
    for one in found:
        if one.undecided and tiers[one.tier].finish_waits:
            because = "; ".join(one.because)
            text = f"{one.title} is suggested ({because}): confirm it, or decline it with a reason, by $urgent."
            yield Fault("business-rule", text, f"Task.where(id='{one.finding.partition('/')[2]}').status")


def renewed(found: Iterable[UrgentRecord], written: Iterable[Json]) -> tuple[UrgentRecord, ...]:
    """The records after what is about to be written of findings: a new state, what it rests on now, new ones."""
    tasks = (one for one in written if one["resourceType"] == "Task" and reading.kind(one) == FINDING_TASK)
    new = {record.finding: record for record in map(reading.record, tasks)}
    old = [one if (now := new.pop(one.finding, None)) is None else _moved(one, now) for one in found]
    return (*old, *new.values())


def recalls(found: Iterable[UrgentRecord]) -> Iterator[str]:
    """Whom a person must call back because what they were told does not stand: nothing does so by itself."""
    for one in found:
        if one.communicated_to:
            what = f"{one.title[:1].lower()}{one.title[1:]}"
            yield f"{one.communicated_to} was told of this: {what}. Tell them that the exam was withdrawn."


def _moved(one: UrgentRecord, now: UrgentRecord) -> UrgentRecord:
    return replace(one, state=now.state, because=now.because)


def included(
    work: Work, found: Iterable[UrgentRecord], pending: Iterable[Json], *, report: Json, now: str
) -> list[Json]:
    """What is about to be written, and of every finding that a report tells its Task, which says in which one."""
    tasks = {one["id"]: one for one in pending}
    for id_ in (one.finding.partition("/")[2] for one in found if one.state != "unsupported"):
        tasks[id_] = writing.included_in(tasks.get(id_) or _task(work, id_), report, now=now)
    return list(tasks.values())


def _record(view: View, finding: Json) -> UrgentRecord:
    told = reading.message_of(finding)
    message = _stored(view, "Task", told) if told else None
    return reading.record(finding, message, _spoken(view, message) if message else None)


def tasks_of(view: View, task: Json) -> Iterable[Json]:
    """Every Task and Communication of the urgent findings of an exam's Task."""
    for id_ in reading.found_on(task).values():
        finding = _stored(view, "Task", id_)
        if finding is None:
            continue
        yield finding
        for told in reading.messages_of(finding):
            message = _stored(view, "Task", told)
            if message is not None:
                yield message
                spoken = _spoken(view, message)
                if spoken is not None:
                    yield spoken


def answered(matter: Matter) -> Json:
    """What an act on the matter is answered with: the exam, the finding's Task and state, and what tells somebody."""
    finding = matter.finding or {}
    found = reading.record(finding, matter.message, matter.communication)
    references = [("exam", f"Task/{matter.exam.id}"), ("finding", found.finding), ("task", found.message)]
    references += [("communication", found.communication)]
    words = [("state", found.state), ("communicationState", found.message_state), ("due", found.due)]
    return parameters(references=references, words=words)


def _exam_id(view: View, task_id: str) -> str:
    """The id of the exam that a Task belongs to: itself, or the one above it or above that."""
    for _ in range(3):
        if view.exam(task_id) is not None:
            return task_id
        task = _stored(view, "Task", task_id)
        if task is None or reading.kind(task) not in {FINDING_TASK, MESSAGE_TASK}:
            break
        task_id = _parent(task)
    raise _no_matter(task_id)


def _no_matter(task_id: str) -> Missing:
    text = f"Task/{task_id} is neither an exam's nor that of an urgent finding."
    return Missing(Fault("not-found", text, "Task"))


def _parent(task: Json) -> str:
    return str(task["partOf"][0]["reference"]).partition("/")[2]


def _spoken(view: View, message: Json) -> Json | None:
    return _stored(view, "Communication", str(message["focus"]["reference"]).partition("/")[2])


def _task(view: View, id_: str) -> Json:
    found = _stored(view, "Task", id_)
    if found is None:
        raise _no_matter(id_)
    return found


def _stored(view: View, type_: str, id_: str) -> Json | None:
    found = view.get(type_, id_)
    return decoded(found) if found is not None and not found.deleted else None
