"""$billing-settle and $billing-check: somebody settles an exception of billing, or wants them up to date now."""

from typing import Any

from service.actions import tracing
from service.actions.billing_check import check
from service.actions.gathering import all_of
from service.actions.ports import Caller, House
from service.actions.writing import decoded, rewrite
from service.basics.errors import Conflict, Fault, Missing, RuleBroken
from service.fhir import exact, uris
from service.fhir.reading.billing_exception import OpenException, is_exception, read_exception
from service.fhir.reading.parameters import text
from service.fhir.writing import billing_exception as writing
from service.fhir.writing.parameters import parameters as answered

Json = dict[str, Any]
NEEDED = (("reason", "why it is settled"), ("by", "who settles it"))


def settle(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Settle an exception by its Task; needs `reason` and `by`. It is shown again only when its facts change.

    The same again changes nothing. Raises Missing for any other Task, RuleBroken naming what is missing, Conflict when
    it was settled otherwise or is no longer so."""
    reason, by = text(parameters, "reason"), text(parameters, "by")
    with house.books.begin(caller.organization) as work:
        work.hold("Task", task_id)
        stored = work.get("Task", task_id)
        task = decoded(stored) if stored is not None and not stored.deleted else {}
        if not is_exception(task):
            raise Missing(Fault("not-found", f"Task/{task_id} is not that of an exception of billing.", "Task"))
        _check(task, reason=reason, by=by)
        if task["status"] != "completed":
            rewrite(work, [writing.settled(task, reason=reason, by=by, now=exact.instant(work.now))])
        touched = [f"Task/{task_id}"]
        work.trace(tracing.operation(work, caller, "billing-settle", task=task_id, entities=touched))
    return answered(references=[("exception", f"Task/{task_id}")], words=[("state", "settled")])


def _check(task: Json, *, reason: str, by: str) -> None:
    faults = [
        Fault("required", f"Say {words} in the parameter {name!r}.", f"Parameters.parameter.where(name='{name}')")
        for (name, words), given in zip(NEEDED, (reason, by), strict=True)
        if not given
    ]
    if faults:
        raise RuleBroken(*faults)
    told = read_exception(task)
    if told.status == "cancelled":
        raise Conflict(Fault("business-rule", "It is no longer so; there is nothing to settle.", "Task.status"))
    if told.status == "completed" and (told.reason, told.by) != (reason, by):
        text_ = f"It was settled by {told.by}: {told.reason}"
        raise Conflict(Fault("business-rule", text_, "Task.status"))


def check_now(house: House, caller: Caller, _: str, parameters: Json) -> Json:
    """Bring the exceptions up to date and say how many changed and how many are open."""
    changed = check(house, caller.organization, by=caller)
    found = listed(house, caller.organization)
    references = [("exception", f"Task/{one.task}") for one in found]
    return answered(references=references, words=[("changed", str(changed)), ("open", str(len(found)))])


def listed(house: House, organization: str, *, settled: bool = False) -> list[OpenException]:
    """The exceptions that are open (or those that were settled), the oldest first."""
    status = "completed" if settled else "requested"
    with house.books.view(organization) as view:
        tasks = all_of(house, view, "Task", code=f"{uris.TASK_CODE}|{writing.TASK}", status=status)
    return sorted(map(read_exception, tasks), key=lambda one: (one.since, one.task))
