"""An urgent finding of a referred animal at both sides: passed on along the clinic's list, received at the clinic."""

from typing import Any

from service.actions import referral_sending, referral_told, repeats, tell_urgent, tracing
from service.actions.case import open_case
from service.actions.gathering import all_of
from service.actions.ports import Caller, House, View, Work
from service.actions.referral_of import agreed_on, referral_of
from service.actions.writing import decoded, rewrite
from service.basics.agreement import REFERRAL
from service.basics.errors import Conflict, Fault, Missing
from service.basics.ids import new_id
from service.basics.stored import Exam, Post
from service.exam import urgent_state
from service.exam.survey import Entry
from service.fhir import exact, uris
from service.fhir.reading import referral as reading
from service.fhir.reading import urgent as reading_urgent
from service.fhir.reading.task import entries
from service.fhir.reading.urgent_act import Telling, read_receipt
from service.fhir.writing import urgent as writing
from service.fhir.writing.parameters import parameters as answered
from service.fhir.writing.report import Party

Json = dict[str, Any]
ACKNOWLEDGE = "urgent-acknowledge"
EVENT = "acknowledged"


def acknowledge(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """$urgent-acknowledge: at the hospital it is received; at the clinic that is noted and sent to the hospital.

    Safe to repeat. Raises what tell_urgent.acknowledge does."""
    with house.books.view(caller.organization) as view:
        copied = _copy(view, task_id) is not None
    if not copied:
        return tell_urgent.acknowledge(house, caller, task_id, parameters)
    said = read_receipt(parameters)
    with house.books.begin(caller.organization) as work:
        work.hold("Task", task_id)
        task = _copy(work, task_id) or {}
        _send(house, work, task, parameters, said)
        work.trace(tracing.operation(work, caller, ACKNOWLEDGE, task=task_id, entities=[f"Task/{task_id}"]))
    return answered(references=[("task", f"Task/{task_id}")], words=[("state", "sent to the hospital")])


def answers(house: House, caller: Caller, task_id: str) -> None:
    """Raise Missing unless a Task here is of an exam that was referred under the caller's agreement."""
    with house.books.view(caller.organization) as view:
        stored = view.get("Task", task_id)
        task = decoded(stored) if stored is not None and not stored.deleted else {}
        asked = _found(house, view, task)
    if asked is None or reading.agreement_of(asked) != caller.agreement:
        raise Missing(Fault("not-found", f"Task/{task_id} is not one of a referral of yours.", "Task"))


def passed_on(house: House, work: Work, exam: Exam, before: Json, after: Json) -> Json:
    """The Task of telling somebody, passed on to whoever is next at the clinic when its time has passed."""
    late = urgent_state.live(entries(after), urgent_state.ESCALATED)
    if reading_urgent.kind(after) != urgent_state.MESSAGE_TASK or late == urgent_state.live(
        entries(before), urgent_state.ESCALATED
    ):
        return after
    task = referral_of(house, work, exam.order)
    agreed = agreed_on(work, task)
    tried = {e.value for e in urgent_state.live(entries(after), urgent_state.PASSED_ON)}
    following = next((one for one in agreed.contacts if one not in tried), "") if agreed else ""
    if not following:
        return after
    now = exact.instant(work.now)
    held = (*entries(after), Entry(urgent_state.PASSED_ON, "", now, "clock", value=following))
    owned = {**after, "owner": writing.party(Party("", following))}
    return writing.update_message(owned, held, now=now)


def remind(house: House, work: Work, caller: Caller, exam: Exam, task: Json) -> None:
    """Tell the clinic again what is late; nothing where nobody referred."""
    if referral_of(house, work, exam.order) is None:
        return
    case = open_case(house, work, caller, exam)
    finding = work.get("Task", str(task.get("partOf", [{}])[0].get("reference", "")).partition("/")[2])
    spoken = work.get("Communication", str(task.get("focus", {}).get("reference", "")).partition("/")[2])
    about = [task, *(decoded(one) for one in (finding, spoken) if one is not None)]
    key = f"{exam.id}:urgent:{task['id']}.{task['meta']['versionId']}"
    work.post(referral_told.posts(house, work, case, "urgent", about, key=key, urgent=True))


def _send(house: House, work: Work, task: Json, parameters: Json, said: Telling) -> None:
    if task.get("status") in {"completed", "cancelled"}:
        raise Conflict(
            Fault("business-rule", "The hospital has closed this finding; nothing is to be told.", "Task.status")
        )
    words = f"{said.to} has received this, says {said.by}; on its way to the hospital."
    if any(note.get("text") == words for note in task.get("note", [])):
        return
    referral = _referral(house, work, task)
    name = referral_sending.way(work, reading.agreement_of(referral))
    number = reading.number(referral)
    request = {"method": "POST", "url": f"Task/{reading.there(task)}/${ACKNOWLEDGE}"}
    at = {"name": "at", "valueDateTime": said.at or exact.instant(work.now)}
    given = parameters if said.at else {**parameters, "parameter": [*parameters["parameter"], at]}
    body = {"resourceType": "Bundle", "type": "batch", "entry": [{"resource": given, "request": request}]}
    key = f"{number}:{EVENT}:{task['id']}.{repeats.fingerprint(parameters)[:16]}"
    form = referral_sending.form(work, name)
    work.post([Post(new_id(), name, key, number, EVENT, exact.encode(body), form)])
    note = {"authorString": said.by, "time": exact.instant(work.now), "text": words}
    rewrite(work, [{**task, "note": [*task.get("note", []), note]}])


def _referral(house: House, view: View, task: Json) -> Json:
    found = _found(house, view, task)
    if found is None:
        raise Missing(Fault("not-found", "This finding is of no referral that is known here.", "Task.focus"))
    return found


def _found(house: House, view: View, task: Json) -> Json | None:
    orders = {str(one.get("reference", "")) for one in (task.get("focus", {}), *task.get("basedOn", []))}
    orders |= {str(one.get("reference", "")) for one in _spoken(view, task).get("basedOn", [])}
    code = f"{uris.TASK_CODE}|{REFERRAL}"
    for order in sorted(o for o in orders if o.startswith("ServiceRequest/")):
        for found in all_of(house, view, "Task", code=code, focus=order):
            return found
    return None


def _spoken(view: View, task: Json) -> Json:
    stored = view.get("Communication", str(task.get("focus", {}).get("reference", "")).partition("/")[2])
    return decoded(stored) if stored is not None and not stored.deleted else {}


def _copy(view: View, task_id: str) -> Json | None:
    """The Task of telling somebody, where it was told of by a hospital; None for one of our own."""
    stored = view.get("Task", task_id)
    task = decoded(stored) if stored is not None and not stored.deleted else {}
    if reading_urgent.kind(task) != urgent_state.MESSAGE_TASK:
        return None
    return task if reading.there(task) not in {"", task_id} else None
