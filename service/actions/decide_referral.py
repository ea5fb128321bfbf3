"""$referral and $referral-animal: somebody accepts, rejects or schedules a referral, or says which animal it is."""

from collections.abc import Iterator
from typing import Any

from service.actions import accept_order, receive_referral, tracing
from service.actions.gathering import all_of
from service.actions.lookup import Lookup
from service.actions.ports import Caller, House, Work
from service.actions.referral_introduced import introduce
from service.actions.referral_of import agreed_on
from service.actions.referral_told import send_again
from service.actions.writing import decoded, rewrite
from service.basics.agreement import ANIMAL, REFERRAL
from service.basics.errors import Conflict, Fault, Missing, RuleBroken
from service.fhir import exact
from service.fhir.reading import referral as reading
from service.fhir.reading.parameters import text
from service.fhir.writing import referral as writing
from service.fhir.writing.parameters import parameters as answered

Json = dict[str, Any]
ACCEPT, REJECT, SCHEDULE, SEND = "accept", "reject", "schedule", "send"
FROM = {
    ACCEPT: {"received"},
    REJECT: {"received", "accepted", "scheduled"},
    SCHEDULE: {"accepted", "scheduled"},
    SEND: {"withheld", "reported", "withdrawn"},
}
TO = {ACCEPT: "accepted", REJECT: "rejected", SCHEDULE: "scheduled"}
SAME, OTHER = "same", "other"


def decide(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Decide on a referral: `decision` (accept, reject, schedule, send), `by`, `reason` to reject, `at` to schedule.

    Accepting opens the exam. The same decision again changes nothing. Raises Missing for any other Task, RuleBroken
    naming what is missing, Conflict when it stands otherwise by now."""
    said = {name: text(parameters, name) for name in ("decision", "by", "reason", "at")}
    with house.books.begin(caller.organization) as work:
        task = _held(work, task_id, REFERRAL)
        faults = list(_missing(said))
        if faults:
            raise RuleBroken(*faults)
        state = reading.state(task)
        exam = work.exam_of_order(_id(task["focus"]))
        if TO.get(said["decision"]) != state or said["decision"] == SCHEDULE:
            _possible(said["decision"], state)
            task = _decided(house, work, caller, task, said)
            exam = work.exam_of_order(_id(task["focus"]))
        touched = [f"Task/{task_id}", *([f"Task/{exam.id}"] if exam else [])]
        work.trace(tracing.operation(work, caller, "referral", task=task_id, entities=touched))
    references = [("referral", f"Task/{task_id}"), *([("exam", f"Task/{exam.id}")] if exam else [])]
    return answered(references=references, words=[("state", reading.state(task))])


def _decided(house: House, work: Work, caller: Caller, task: Json, said: dict[str, str]) -> Json:
    lookup = Lookup(work)
    request = lookup.find(str(task["focus"]["reference"])) or {}
    agreed = agreed_on(work, task)
    if agreed is None:
        raise Conflict(Fault("business-rule", "This referral came from here; the other side decides on it.", "Task"))
    if agreed.hospital != work.organization:
        raise Conflict(Fault("business-rule", "The hospital decides on a referral; this is the clinic's.", "Task"))
    if said["decision"] == SEND:
        return send_again(house, work, caller, task, by=said["by"])
    now = exact.instant(work.now)
    task = writing.moved(task, TO[said["decision"]], now=now, reason=said["reason"], by=said["by"], at=said["at"])
    if said["decision"] == ACCEPT:
        _undoubted(house, work, task)
        exam = accept_order.accept(house, work, caller, request, lookup=lookup)
        introduce(house, work, exam, request)
    if said["decision"] == REJECT and work.exam_of_order(request["id"]) is not None:
        text_ = "It was accepted and has an exam: revoke its order, or withdraw the exam."
        raise Conflict(Fault("business-rule", text_, "Task.status"))
    rewrite(work, [task])
    receive_referral.tell(house, work, task, request, agreed=agreed, lookup=lookup, event=TO[said["decision"]])
    return task


def animal(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Say which animal a referral is about: `decision` (same, with `patient`; or other), `by` and a `reason`.

    Raises Missing for any other Task, RuleBroken naming what is missing, Conflict when it was decided otherwise."""
    decision, by, reason = (text(parameters, name) for name in ("decision", "by", "reason"))
    same = text(parameters, "patient") if decision == SAME else ""
    with house.books.begin(caller.organization) as work:
        task = _held(work, task_id, ANIMAL)
        faults = list(_unsaid(decision, by, same))
        if faults:
            raise RuleBroken(*faults)
        before = str((task.get("output") or [{}])[0].get("valueReference", {}).get("reference", ""))
        if task["status"] == "completed" and before != same:
            raise Conflict(Fault("business-rule", f"It was decided otherwise: {before or OTHER}.", "Task.status"))
        if task["status"] != "completed":
            done = writing.decided(task, same=same, by=by, reason=reason, now=exact.instant(work.now))
            rewrite(work, [done, *(_moved_to(house, work, task, same) if same else [])])
        work.trace(tracing.operation(work, caller, "referral-animal", task=task_id, entities=[f"Task/{task_id}"]))
    references = [("referral", str(task["partOf"][0]["reference"])), ("animal", same or reading.told_as(task))]
    return answered(references=references, words=[("state", "decided")])


def _moved_to(house: House, work: Work, task: Json, same: str) -> list[Json]:
    """The records of both animals, and the order and the referral, which are now about the one known here."""
    lookup = Lookup(work)
    told = lookup.find(reading.told_as(task)) or {}
    if not same.startswith("Patient/") or same == reading.told_as(task):
        raise RuleBroken(Fault("value", "Name the animal known here as Patient/<id>.", _where("patient")))
    order = lookup.find(str(task["focus"]["reference"])) or {}
    referral = lookup.find(str(task["partOf"][0]["reference"])) or {}
    if work.exam_of_order(order["id"]) is not None:
        raise Conflict(Fault("business-rule", "The exam was opened already; withdraw it first.", "Task.status"))
    changed = receive_referral.linked(house, work, told, same)
    subject = {"reference": same}
    return [*changed, told, {**order, "subject": subject}, {**referral, "for": subject}]


def _undoubted(house: House, work: Work, task: Json) -> None:
    """Raise Conflict while nobody has said which animal is meant."""
    waiting = all_of(house, work, "Task", part_of=f"Task/{task['id']}", status=writing.OPEN)
    if waiting:
        words = f"First somebody says which animal it is: Task/{waiting[0]['id']}/$referral-animal."
        raise Conflict(Fault("business-rule", words, "Task.for"))


def _held(work: Work, task_id: str, kind: str) -> Json:
    work.hold("Task", task_id)
    stored = work.get("Task", task_id)
    task = decoded(stored) if stored is not None and not stored.deleted else {}
    if reading.kind(task) != kind:
        words = "a referral" if kind == REFERRAL else "a doubt about a referred animal"
        raise Missing(Fault("not-found", f"Task/{task_id} is not that of {words}.", "Task"))
    return task


def _possible(decision: str, state: str) -> None:
    if state not in FROM[decision]:
        text_ = f"The referral is {writing.STATES.get(state, state).lower()}; it can't be decided so any more."
        raise Conflict(Fault("business-rule", text_, "Task.businessStatus"))


def _missing(said: dict[str, str]) -> Iterator[Fault]:
    if said["decision"] not in FROM:
        yield Fault("value", f"`decision` is one of {', '.join(FROM)}.", _where("decision"))
    if not said["by"]:
        yield Fault("required", "Say who decides, in `by`.", _where("by"))
    if said["decision"] == REJECT and not said["reason"]:
        yield Fault("required", "Say why it is rejected, in `reason`.", _where("reason"))
    if said["decision"] == SCHEDULE and not said["at"]:
        yield Fault("required", "Say when the exam is to be, in `at`.", _where("at"))


def _unsaid(decision: str, by: str, same: str) -> Iterator[Fault]:
    if decision not in {SAME, OTHER}:
        yield Fault("value", "`decision` is same (with `patient`) or other.", _where("decision"))
    if decision == SAME and not same:
        yield Fault("required", "Name the animal known here, in `patient`.", _where("patient"))
    if not by:
        yield Fault("required", "Say who decides, in `by`.", _where("by"))


def _id(reference: Json) -> str:
    return str(reference["reference"]).partition("/")[2]


def _where(name: str) -> str:
    return f"Parameters.parameter.where(name='{name}')"
