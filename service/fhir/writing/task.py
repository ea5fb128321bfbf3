"""A step and its state into its Task, and an order into the Task of its exam."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from service.exam.order import Order
from service.exam.survey import Entry, Owed, Step
from service.fhir import uris

Json = dict[str, Any]

STATES: Mapping[str, str] = {
    "not-yet": "Not yet looked at",
    "partly": "Partly done",
    "seen": "Seen",
    "seen-part": "Seen in part",
    "not-seen": "Not seen",
    "absent-surgical": "Absent after surgery",
    "absent-unexplained": "Absent, unexplained",
    "deferred": "Deferred to another look",
    "settled-elsewhere": "Settled at another step",
    "out-of-scope": "Does not apply",
}
PARTS: Mapping[str, tuple[str, str]] = {  # Entry field -> part of the extension and the type of its value
    "at": ("at", "valueDateTime"),
    "by": ("by", "valueString"),
    "value": ("value", "valueString"),
    "reason": ("reason", "valueCode"),
    "note": ("note", "valueString"),
    "window": ("window", "valueString"),
    "station": ("station", "valuePositiveInt"),
    "act": ("act", "valueString"),
    "retracted_at": ("retracted-at", "valueDateTime"),
    "retracted_by": ("retracted-by", "valueString"),
}


def step_task(
    step: Step,
    owed: Sequence[Owed],
    *,
    state: tuple[str, str],
    exam_id: str,
    order_id: str,
    animal_id: str,
    now: str,
    prompts: Sequence[str] = (),
) -> Json:
    """The Task of a step as it stands. state: (Task.status, business status); now: an instant; prompts: what to think
    of."""
    rule = step.rule
    extension: list[Json] = [{"url": uris.X_REQUIREMENT, "valueCode": rule.requirement}]
    if rule.station:
        extension.append({"url": uris.X_STATION, "valuePositiveInt": rule.station})
    task: Json = {
        "resourceType": "Task",
        "id": step.task,
        "extension": extension,
        "partOf": [{"reference": f"Task/{exam_id}"}],
        "status": state[0],
        "intent": "order",
        "code": {"coding": [{"system": uris.STEP, "code": rule.code, "display": rule.title}]},
        "description": f"{rule.station}. {rule.station_title}: {rule.title}" if rule.station else rule.title,
        "focus": {"reference": f"ServiceRequest/{order_id}"},
        "for": {"reference": f"Patient/{animal_id}"},
        "authoredOn": now,
    }
    return update_step(task, step, owed=owed, state=state, now=now, prompts=prompts)


def update_step(
    task: Json, step: Step, *, owed: Sequence[Owed], state: tuple[str, str], now: str, prompts: Sequence[str] = ()
) -> Json:
    """The Task with the step's new state: status, what is owed (input), what was entered (output), what to think of
    (note)."""
    status, business = state
    changed = {k: v for k, v in task.items() if k not in {"input", "output", "note"}}
    needed = {"url": uris.X_REQUIREMENT, "valueCode": step.rule.requirement}
    changed["extension"] = [needed if e.get("url") == uris.X_REQUIREMENT else e for e in task.get("extension", [])]
    changed["status"] = status
    changed["businessStatus"] = {"coding": [{"system": uris.STATE, "code": business}], "text": STATES[business]}
    changed["lastModified"] = now
    if prompts:
        changed["note"] = [{"text": text} for text in prompts]
    if owed:
        changed["input"] = [_owed(o) for o in owed]
    return with_output(changed, task, step.entries)


def exam_task(exam_id: str, order: Order, *, now: str) -> Json:
    """The Task of an exam, accepted; it keeps the facts of the animal and the scope that its steps were chosen by."""
    task: Json = {
        "resourceType": "Task",
        "id": exam_id,
        "identifier": [{"system": uris.ID, "value": exam_id}],
        "status": "accepted",
        "intent": "order",
        "priority": order.priority,
        "code": {"coding": [{"system": uris.TASK_FULFIL, "code": "fulfill"}], "text": order.service.title},
        "description": order.service.title,
        "focus": {"reference": f"ServiceRequest/{order.id}"},
        "for": {"reference": f"Patient/{order.animal.id}"},
        "authoredOn": now,
        "lastModified": now,
        "input": list(_basis(order)),
    }
    if order.requester:
        task["requester"] = {"reference": order.requester}
    return task


def update_exam(task: Json, entries: Sequence[Entry], *, status: str, now: str) -> Json:
    """The exam's Task in its status, with what was entered for the exam as a whole."""
    changed = {k: v for k, v in task.items() if k != "output"}
    changed |= {"status": status, "lastModified": now}
    return with_output(changed, task, entries)


def _basis(order: Order) -> Iterator[Json]:
    animal = order.animal
    yield _fact("basis:service", "valueCode", order.service.key)
    yield _fact("basis:species", "valueCode", animal.species)
    if animal.sex:
        yield _fact("basis:sex", "valueCode", animal.sex)
    if animal.neutered is not None:
        yield _fact("basis:neutered", "valueBoolean", animal.neutered)
    if animal.scrotal_testes is not None:
        yield _fact("basis:scrotal-testes", "valueInteger", animal.scrotal_testes)
    if animal.pregnant is not None:
        yield _fact("basis:pregnant", "valueBoolean", animal.pregnant)
    for structure in order.structures:
        yield _fact("basis:structure", "valueCode", structure)


def _fact(code: str, kind: str, value: object) -> Json:
    return {"type": {"coding": [{"system": uris.ITEM, "code": code}]}, kind: value}


def with_output(changed: Json, task: Json, entries: Sequence[Entry]) -> Json:
    """The Task with the entries as its output; what else its output held stays behind them."""
    others = [o for o in task.get("output", []) if not any(c.get("system") == uris.ITEM for c in _codings(o))]
    output = [*(_entry(e) for e in entries), *others]
    return {**changed, "output": output} if output else changed


def _codings(output: Json) -> list[Json]:
    found: list[Json] = output.get("type", {}).get("coding", [])
    return found


def _owed(one: Owed) -> Json:
    type_ = {"coding": [{"system": uris.ITEM, "code": one.item}], "text": one.text}
    return {"type": type_, "valueInteger": one.count} if one.count else {"type": type_, "valueString": one.text}


def _entry(entry: Entry) -> Json:
    parts = [{"url": url, kind: value} for name, (url, kind) in PARTS.items() if (value := getattr(entry, name))]
    output: Json = {"extension": [{"url": uris.X_ENTERED, "extension": parts}]} if parts else {}
    output["type"] = {"coding": [{"system": uris.ITEM, "code": entry.item}]}
    if entry.source:
        output["valueReference"] = {"reference": entry.source}
    elif entry.reason:
        output["valueCodeableConcept"] = {"coding": [{"system": uris.REASON, "code": entry.reason}]}
    else:
        output["valueString"] = entry.note or entry.value or entry.item
    return output
