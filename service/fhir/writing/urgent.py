"""An urgent finding into its Task (a proposal), and telling somebody of it into a Task and a Communication."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from service.exam import urgent_state
from service.exam.survey import Entry
from service.exam.urgent import Tier
from service.exam.urgent_state import FINDING_TASK, MESSAGE_TASK
from service.fhir import uris
from service.fhir.writing.report import Party
from service.fhir.writing.task import with_output

Json = dict[str, Any]
TASKS = {FINDING_TASK: "Urgent finding: a person decides", MESSAGE_TASK: "Telling somebody of an urgent finding"}
DECIDE = "Confirm it or decline it with a reason: Task/<this>/$urgent."


@dataclass(frozen=True, slots=True)
class Place:
    """Where it belongs: ids of the exam's Task, the order and the animal."""

    exam: str
    order: str
    animal: str


def finding_task(id_: str, place: Place, *, code: str, title: str, tier: Tier, now: str) -> Json:
    """The Task of an urgent finding, as yet without anything entered. now: the instant that it was identified."""
    return {
        "resourceType": "Task",
        "id": id_,
        "extension": _extensions(tier, now),
        "identifier": [{"system": uris.ID, "value": id_}],
        "partOf": [{"reference": f"Task/{place.exam}"}],
        "intent": "proposal",
        "priority": tier.priority,
        "code": _code(FINDING_TASK, code, title),
        "description": title,
        "focus": {"reference": f"ServiceRequest/{place.order}"},
        "for": {"reference": f"Patient/{place.animal}"},
        "authoredOn": now,
        "restriction": _period(tier, now),
    }


def update_finding(task: Json, entries: Sequence[Entry], *, waits: bool, now: str) -> Json:
    """The Task with its entries and the state that follows from them; undecided, it says what is owed."""
    status, state = urgent_state.finding_state(entries, waits=waits)
    changed = {k: v for k, v in task.items() if k not in {"input", "output"}}
    changed |= {"status": status, "businessStatus": _state(state, urgent_state.FINDING_STATES), "lastModified": now}
    if status in {"ready", "requested"}:
        type_ = {"coding": [{"system": uris.ITEM, "code": "decision"}], "text": DECIDE}
        changed["input"] = [{"type": type_, "valueString": DECIDE}]
    return with_output(changed, task, entries)


def named_on(exam_task: Json, entry: Entry, *, now: str) -> Json:
    """The exam's Task with an urgent finding named on it, begun if it was not."""
    status = "in-progress" if exam_task["status"] == "accepted" else exam_task["status"]
    output = [*exam_task.get("output", []), *with_output({}, {}, (entry,))["output"]]
    return {**exam_task, "status": status, "lastModified": now, "output": output}


def included_in(finding: Json, report: Json, *, now: str) -> Json:
    """The finding's Task, naming the report that tells it and its version."""
    edition = next(e for e in report["extension"] if e["url"] == uris.X_REPORT_EDITION)
    version = next(e["valuePositiveInt"] for e in edition["extension"] if e["url"] == "number")
    entry = Entry(urgent_state.INCLUDED, f"DiagnosticReport/{report['id']}", now, "", value=str(version))
    output = [*finding.get("output", []), *with_output({}, {}, (entry,))["output"]]
    return {**finding, "lastModified": now, "output": output}


def restarted(task: Json, tier: Tier, *, now: str) -> Json:
    """The Task with its clock begun anew, by this tier."""
    return {**task, "priority": tier.priority, "extension": _extensions(tier, now), "restriction": _period(tier, now)}


def message_task(id_: str, finding: Json, communication: str, *, tier: Tier, owner: Party, by: str, now: str) -> Json:
    """The Task of telling the responsible vet of a finding, its clock that of the finding."""
    begun = str(finding["restriction"]["period"]["start"])
    code = finding["code"]["coding"][0]
    return {
        "resourceType": "Task",
        "id": id_,
        "extension": _extensions(tier, begun),
        "identifier": [{"system": uris.ID, "value": id_}],
        "basedOn": [finding["focus"]],
        "partOf": [{"reference": f"Task/{finding['id']}"}],
        "intent": "order",
        "priority": tier.priority,
        "code": _code(MESSAGE_TASK, code["code"], code["display"]),
        "description": f"Tell the responsible vet: {finding['description']}",
        "focus": {"reference": f"Communication/{communication}"},
        "for": finding["for"],
        "authoredOn": now,
        "requester": {"display": by},
        **({"owner": party(owner)} if party(owner) else {}),
        "restriction": _period(tier, begun),
    }


def update_message(task: Json, entries: Sequence[Entry], *, now: str) -> Json:
    """The Task with its entries and the state that follows from them."""
    status, state = urgent_state.message_state(entries)
    changed = {**task, "status": status, "businessStatus": _state(state, urgent_state.MESSAGE_STATES)}
    return with_output({k: v for k, v in changed.items() if k != "output"} | {"lastModified": now}, task, entries)


def communication(id_: str, finding: Json, *, tier: Tier, recipient: Party, words: str, about: Iterable[str]) -> Json:
    """The Communication that is to be made, in preparation."""
    code = finding["code"]["coding"][0]
    return {
        "resourceType": "Communication",
        "id": id_,
        "identifier": [{"system": uris.ID, "value": id_}],
        "basedOn": [finding["focus"]],
        "partOf": [{"reference": f"Task/{finding['id']}"}],
        "status": "preparation",
        "category": [{"coding": [{"system": uris.COMMUNICATION_CATEGORY, "code": "alert", "display": "Alert"}]}],
        "priority": tier.priority,
        "subject": finding["for"],
        "topic": {"coding": [code], "text": code["display"]},
        **({"about": [{"reference": one} for one in dict.fromkeys(about)]} if about else {}),
        **({"recipient": [party(recipient)]} if party(recipient) else {}),
        "payload": [{"contentString": words}],
    }


def sent(given: Json, *, status: str, entry: Entry | None = None, received: str = "", reason: str = "") -> Json:
    """The Communication in its new status; entry: how it was communicated, whose `value` names who received it."""
    changed = {**given, "status": status}
    if reason:
        changed["statusReason"] = {"text": reason}
    if entry is not None:
        method = entry.item.partition(":")[2]
        text = urgent_state.METHODS[method]
        changed["medium"] = [{"coding": [{"system": uris.METHOD, "code": method, "display": text}], "text": text}]
        changed |= {"sent": entry.at, "received": received, "sender": {"display": entry.by}}
        changed["recipient"] = [*_others(given, entry.value), {"display": entry.value}]
    return changed


def party(one: Party) -> Json:
    """A Reference to somebody; {} for nobody."""
    named = {"reference": one.reference, "type": one.type, "display": one.display}
    return {k: v for k, v in named.items() if v} if one.reference or one.display else {}


def _others(given: Json, name: str) -> list[Json]:
    return [r for r in given.get("recipient", []) if r.get("reference") or r.get("display") != name]


def _code(task: str, code: str, title: str) -> Json:
    own = {"system": uris.URGENT, "code": code, "display": title}
    return {"coding": [own, {"system": uris.TASK_CODE, "code": task, "display": TASKS[task]}], "text": title}


def _state(state: str, words: dict[str, str]) -> Json:
    return {"coding": [{"system": uris.URGENT_STATE, "code": state}], "text": words[state]}


def _extensions(tier: Tier, begun: str) -> list[Json]:
    when = urgent_state.deadline(begun, tier.escalate)
    return [
        {"url": uris.X_TIER, "valuePositiveInt": tier.number},
        {"url": uris.X_ESCALATE, "valueInstant": when},
    ]


def _period(tier: Tier, begun: str) -> Json:
    return {"period": {"start": begun, "end": urgent_state.deadline(begun, tier.breach)}}
