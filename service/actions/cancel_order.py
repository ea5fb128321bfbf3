"""A revoked order whose exam has not begun: its Tasks, Procedure and planned charges end with it."""

from dataclasses import replace
from typing import Any

from service.actions import bill_exam, delivering, no_show
from service.actions.case import open_case
from service.actions.estimates import ended
from service.actions.ports import Caller, House, Work
from service.basics.errors import Conflict, Fault
from service.basics.stored import StepKey
from service.fhir import exact
from service.fhir.writing.procedure import moved, outcome

Json = dict[str, Any]
REVOKED = "The order was revoked before the exam began."
OPEN = frozenset({"draft", "requested", "received", "accepted", "ready", "in-progress", "on-hold"})


def cancel(house: House, work: Work, caller: Caller, request: Json) -> list[Json]:
    """What the revocation of an order changes; raises Conflict once anything of its exam was received."""
    known = work.exam_of_order(request["id"])
    exam = work.lock_exam(known.id) if known else None
    if exam is None or exam.state == "cancelled":
        return []
    if exam.state != "accepted":
        text = f"The exam has begun ({exam.state}): finish it, if need be with `remaining`, or withdraw it."
        raise Conflict(Fault("business-rule", text, "ServiceRequest.status"))
    case = open_case(house, work, caller, exam)
    now = exact.instant(work.now)
    task = _cancelled(case.task, now)
    steps = [_cancelled(t, now) for t in case.tasks if t.get("status") in OPEN]
    procedure = moved(case.procedure, "not-done", reason=REVOKED)
    charges = [c for c, _ in bill_exam.abort(house, work, exam=exam, reason=REVOKED)]
    fee = no_show.charge(house, work, case, caller)
    charges += [*fee.new, *fee.invoices]
    invoices = [str(one["id"]) for one in fee.invoices]
    if invoices:
        task["output"] = [*task.get("output", []), *(outcome("invoice", f"Invoice/{one}") for one in invoices)]
    work.save_exam(replace(exam, state="cancelled", invoice=next(reversed(invoices), "")))
    work.save_steps(StepKey(k.exam, k.code, k.task, "cancelled") for k in work.step_keys(exam.id))
    delivering.promise(house, work, case, "cancelled", [task, procedure, *charges])
    return [task, *steps, procedure, *charges, *ended(work, case.task, REVOKED)]


def _cancelled(task: Json, now: str) -> Json:
    reason = {"text": REVOKED}
    return {**task, "status": "cancelled", "statusReason": reason, "lastModified": now}
