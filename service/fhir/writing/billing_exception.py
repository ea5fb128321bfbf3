"""An exception of billing into its Task, and the Task as it is settled or no longer so."""

from typing import Any

from service.billing.exceptions import ExceptionRule, Found
from service.fhir import uris

Json = dict[str, Any]
TASK = "billing-exception"
TASKS = {TASK: "Exception of billing: a person settles it"}
WAYS = "Settle it with a reason: Task/<this>/$billing-settle."


def exception_task(id_: str, found: Found, rule: ExceptionRule, *, exam: str, animal: str, now: str) -> Json:
    """The Task of an exception that is open. exam: id of the exam's Task, animal: id of the Patient, "" for none."""
    own = {"system": uris.BILLING_EXCEPTION, "code": rule.kind, "display": rule.title}
    task: Json = {
        "resourceType": "Task",
        "id": id_,
        "identifier": [
            {"system": uris.ID, "value": id_},
            {"system": uris.BILLING_EXCEPTION_ID, "value": found.identity},
        ],
        "status": "requested",
        "intent": "order",
        "code": {"coding": [own, {"system": uris.TASK_CODE, "code": TASK, "display": TASKS[TASK]}], "text": rule.title},
        "description": found.words,
        "focus": {"reference": found.subject},
        "authoredOn": now,
        "lastModified": now,
        "input": [{"type": {"text": "What to do"}, "valueString": rule.advice}],
    }
    if exam:
        task["partOf"] = [{"reference": f"Task/{exam}"}]
    if animal:
        task["for"] = {"reference": f"Patient/{animal}"}
    return task


def settled(task: Json, *, reason: str, by: str, now: str) -> Json:
    """The Task settled with a reason by somebody."""
    note = {"authorString": by, "time": now, "text": reason}
    return {**_moved(task, "completed", reason, now=now), "note": [*task.get("note", []), note]}


def gone(task: Json, *, now: str) -> Json:
    """The Task of an exception that is no longer so."""
    return _moved(task, "cancelled", "It is no longer so.", now=now)


def returned(task: Json, found: Found, *, now: str) -> Json:
    """The Task of an exception that was gone and is so again."""
    again = {key: value for key, value in task.items() if key != "statusReason"}
    return {**again, "status": "requested", "description": found.words, "lastModified": now}


def _moved(task: Json, status: str, reason: str, *, now: str) -> Json:
    return {**task, "status": status, "statusReason": {"text": reason}, "lastModified": now}
