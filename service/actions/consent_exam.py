"""$consent: that somebody agreed to the estimate of an open exam, up to an amount; who recorded it, when and how."""

from collections.abc import Sequence
from typing import Any

from service.actions.case import Case, open_case
from service.actions.estimate_exam import still_open
from service.actions.estimates import CONSENT, ESTIMATE, known, named_on
from service.actions.operation import Operation, on_exam
from service.actions.ports import Caller, House
from service.actions.writing import rewrite
from service.basics.errors import Conflict, Fault, RuleBroken
from service.basics.ids import new_id
from service.billing.estimate import PEOPLE
from service.fhir import exact
from service.fhir.reading.estimate import Said, payer_of, said
from service.fhir.reading.invoice import money
from service.fhir.writing import estimate as writing
from service.fhir.writing.parameters import parameters as answered
from service.fhir.writing.procedure import outcome

Json = dict[str, Any]


def consent(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Record a consent: `by`, `given`, `method`, and `at`, `amount`, `estimate` where they are not the obvious ones.

    The same content again is the same consent. Raises RuleBroken with all that is missing or wrong, Conflict when the
    exam is no longer open or was never estimated."""
    with on_exam(house, caller, task_id, parameters, name="consent") as operation:
        if not operation.repeated:
            still_open(operation)
            operation.answer = _consent(house, caller, operation, parameters)
        return operation.answer


def _consent(house: House, caller: Caller, operation: Operation, parameters: Json) -> Json:
    work, now = operation.work, exact.instant(operation.work.now)
    case = open_case(house, work, caller, operation.exam)
    given, faults = said(parameters, known(house, case.practice), now=now)
    drafts = [one for one in named_on(work, case.task, ESTIMATE) if one["status"] == "draft"]
    about, doubt = _which(drafts, given.estimate)
    if faults or doubt or about is None:
        raise RuleBroken(*faults, *doubt)
    made = _made(house, operation, case, given, about=about, now=now)
    task = {**case.task, "lastModified": now}
    task["output"] = [*task.get("output", []), outcome(CONSENT, f"Consent/{made['id']}")]
    rewrite(work, [made, task])
    return answered(references=[("exam", f"Task/{case.exam.id}"), (CONSENT, f"Consent/{made['id']}")])


def _made(house: House, operation: Operation, case: Case, given: Said, *, about: Json, now: str) -> Json:
    gross = money(about["totalGross"], known(house, case.practice))
    if given.amount is not None and given.amount.currency != gross.currency:
        words = f"The estimate is in {gross.currency.code}, not in {given.amount.currency.code}."
        raise RuleBroken(Fault("value", words, "Parameters.parameter.where(name='amount')"))
    return writing.consent(
        new_id(),
        animal=case.exam.animal,
        organization=operation.work.organization,
        estimate=f"Invoice/{about['id']}/_history/{about['meta']['versionId']}",
        given=given.given,
        amount=given.amount or gross,
        method=given.method,
        by=given.by,
        at=given.at or now,
    )


def _which(drafts: Sequence[Json], reference: str) -> tuple[Json | None, list[Fault]]:
    """The estimate that is meant: the one named, the only one, or the client's."""
    if not drafts:
        text = "The exam has no estimate that could be agreed to: $estimate makes one."
        raise Conflict(Fault("business-rule", text, "Task"))
    clients = [one for one in drafts if not payer_of(one) or payer_of(one).startswith(PEOPLE)]
    meant = reference.partition("/_history/")[0]
    named = [one for one in drafts if meant == f"Invoice/{one['id']}"] if meant else clients or drafts
    if len(named) == 1:
        return named[0], []
    can = ", ".join(f"Invoice/{one['id']}" for one in drafts)
    return None, [
        Fault("value", f"Say which estimate. It can be: {can}.", "Parameters.parameter.where(name='estimate')")
    ]
