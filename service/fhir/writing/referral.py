"""A referral into its Task, and a doubt about the animal into the Task of whoever decides."""

from collections.abc import Iterable
from typing import Any

from service.basics.agreement import ANIMAL, REFERRAL
from service.exam.right_animal import Candidate
from service.fhir import uris

Json = dict[str, Any]
TASKS = {REFERRAL: "Referral of an animal", ANIMAL: "Which animal is meant: a person decides"}
STATES = {
    "sent": "Sent",
    "received": "Received",
    "accepted": "Accepted",
    "rejected": "Rejected",
    "scheduled": "Scheduled",
    "in-progress": "In progress",
    "reported": "Reported",
    "withdrawn": "Withdrawn",
    "cancelled": "Cancelled",
    "withheld": "Not sent: consent is missing",
}
STATUSES = {
    "sent": "requested",
    "received": "received",
    "accepted": "accepted",
    "rejected": "rejected",
    "scheduled": "accepted",
    "in-progress": "in-progress",
    "reported": "completed",
    "withdrawn": "entered-in-error",
    "cancelled": "cancelled",
    "withheld": "on-hold",
}
CODES = {"agreement": "Agreement", "animal": "Animal as told", "candidate": "Animal that might be meant"}
OPEN = "requested"
DECIDE = "Say which animal it is: Task/<this>/$referral-animal."


def task(
    id_: str, *, number: str, order: str, animal: str, agreement: str, hospital: str, clinic: str, now: str, state: str
) -> Json:
    """The Task of a referral, on either side. number: what both sides know it by; hospital: a slug; clinic: in words.

    order and animal: references."""
    made = {
        "resourceType": "Task",
        "id": id_,
        "identifier": [{"system": uris.REFERRAL, "value": number}],
        "status": STATUSES[state],
        "intent": "order",
        "code": _code(REFERRAL),
        "focus": {"reference": order},
        "for": {"reference": animal},
        "authoredOn": now,
        "requester": {"display": clinic},
        "owner": {"identifier": {"system": uris.ORGANIZATION, "value": hospital}, "display": hospital},
        "input": [
            {"type": _part("agreement"), "valueString": agreement},
            {"type": _part("animal"), "valueReference": {"reference": animal}},
        ],
    }
    return moved(made, state, now=now)


def moved(given: Json, state: str, *, now: str, reason: str = "", by: str = "", at: str = "") -> Json:
    """The Task in another state: why, by whom, and when the exam is to be."""
    changed = {k: v for k, v in given.items() if k not in {"statusReason"}}
    changed |= {"status": STATUSES[state], "lastModified": now}
    coding = {"system": uris.REFERRAL_STATE, "code": state, "display": STATES[state]}
    changed["businessStatus"] = {"coding": [coding], "text": STATES[state]}
    if reason:
        changed["statusReason"] = {"text": reason}
    if at:
        changed["restriction"] = {"period": {"start": at}}
    if by:
        said = f"{STATES[state]}: {reason}" if reason else STATES[state]
        changed["note"] = [*given.get("note", []), {"authorString": by, "time": now, "text": said}]
    return changed


def animal_task(
    id_: str, *, referral: str, order: str, animal: str, why: str, candidates: Iterable[Candidate], now: str
) -> Json:
    """The Task of deciding which animal is meant: told of as `animal`, with whatever here might be it."""
    return {
        "resourceType": "Task",
        "id": id_,
        "identifier": [{"system": uris.ID, "value": id_}],
        "partOf": [{"reference": referral}],
        "status": OPEN,
        "intent": "proposal",
        "code": _code(ANIMAL),
        "description": f"{why[:1].upper()}{why[1:]}.",
        "focus": {"reference": order},
        "for": {"reference": animal},
        "authoredOn": now,
        "lastModified": now,
        "input": [
            {"type": _part("animal"), "valueReference": {"reference": animal}},
            *({"type": _part("candidate"), "valueReference": _candidate(one)} for one in candidates),
            {"type": {"text": DECIDE}, "valueString": DECIDE},
        ],
    }


def decided(given: Json, *, same: str, by: str, reason: str, now: str) -> Json:
    """The Task of deciding, done: same is the reference of the animal it is, "" for none that was known."""
    said = f"It is {same}." if same else "It is none that was known here."
    note = {"authorString": by, "time": now, "text": f"{said} {reason}".strip()}
    changed = {k: v for k, v in given.items() if k != "output"}
    output = [{"type": _part("animal"), "valueReference": {"reference": same}}] if same else []
    changed |= {"status": "completed", "lastModified": now, "note": [*given.get("note", []), note]}
    return changed | ({"output": output} if output else {})


def _candidate(one: Candidate) -> Json:
    words = f"agrees: {', '.join(one.agrees)}"
    words += f"; differs: {', '.join(one.differs)}" if one.differs else ""
    return {"reference": one.reference, "display": words}


def _code(kind: str) -> Json:
    return {"coding": [{"system": uris.TASK_CODE, "code": kind, "display": TASKS[kind]}], "text": TASKS[kind]}


def _part(code: str) -> Json:
    coding = {"system": uris.REFERRAL_STATE, "code": code, "display": CODES[code]}
    return {"coding": [coding], "text": CODES[code]}
