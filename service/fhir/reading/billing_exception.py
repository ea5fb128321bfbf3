"""The Task of an exception of billing into what it says, and a charge into what exceptions are found by."""

from dataclasses import dataclass
from typing import Any

from service.billing.exceptions import ChargeSeen
from service.fhir import uris

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class OpenException:
    """An exception as it stands; subject is Type/id, exam the id of the exam's Task or ""."""

    task: str
    kind: str
    status: str
    title: str
    words: str
    advice: str
    subject: str
    exam: str
    since: str
    reason: str = ""
    by: str = ""


def is_exception(task: Json) -> bool:
    """Whether a Task is that of an exception of billing."""
    return bool(identity(task))


def identity(task: Json) -> str:
    """What makes it the same exception; "" for any other Task."""
    found = (str(i["value"]) for i in task.get("identifier", []) if i.get("system") == uris.BILLING_EXCEPTION_ID)
    return next(found, "")


def read_exception(task: Json) -> OpenException:
    """What the Task of an exception says; reason and by are of who settled it."""
    notes = task.get("note", []) if task["status"] == "completed" else []
    return OpenException(
        task=str(task["id"]),
        kind=str(task["code"]["coding"][0]["code"]),
        status=str(task["status"]),
        title=str(task["code"]["text"]),
        words=str(task["description"]),
        advice=str(task["input"][0]["valueString"]),
        subject=str(task["focus"]["reference"]),
        exam=exam_of(task),
        since=str(task["authoredOn"]),
        reason=str(notes[-1]["text"]) if notes else "",
        by=str(notes[-1]["authorString"]) if notes else "",
    )


def exam_of(task: Json) -> str:
    """The id of the exam's Task, "" when it hangs on no exam."""
    above: list[Json] = task.get("partOf", [])
    return str(above[0]["reference"]).removeprefix("Task/") if above else ""


def charge_seen(item: Json) -> ChargeSeen:
    """A ChargeItem, ours or written by hand."""
    coding: Json = next(iter(item.get("code", {}).get("coding", [])), {})
    code = str(coding.get("code", ""))
    text = str(item.get("code", {}).get("text") or coding.get("display") or code or "A charge")
    notes = item.get("note", [])
    why = str(notes[-1].get("text", "")) if notes else ""
    quantity = int(item.get("quantity", {}).get("value", 1))
    return ChargeSeen(str(item["id"]), code, text, str(item["status"]), why, quantity)
