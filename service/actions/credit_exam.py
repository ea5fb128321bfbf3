"""A part or all of one invoice of a finished exam taken back by a credit that says why."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from service.actions import credit_invoice, delivering
from service.actions.case import Case, open_case
from service.actions.exam_charges import invoices_of, open_ledger
from service.actions.operation import Operation, on_exam
from service.actions.ports import Caller, House
from service.actions.writing import decoded, rewrite
from service.basics.errors import Conflict, Fault, RuleBroken
from service.billing import credit as crediting
from service.billing.invoice import Invoice
from service.billing.partial_credit import faults as refused
from service.fhir import exact
from service.fhir.reading.credit import wanted
from service.fhir.reading.parameters import text
from service.fhir.reading.task import entries
from service.fhir.writing.parameters import parameters as answered
from service.fhir.writing.procedure import outcome

Json = dict[str, Any]
NEEDED = (("reason", "why it is credited"), ("by", "who credits it"))


def credit(house: House, caller: Caller, task_id: str, parameters: Json) -> Json:
    """Credit an invoice of a finished exam: `reason`, `by`, and `line` for each part; without a line all that is left.

    The same content again is the same credit. Raises RuleBroken with all that is missing or more than is left,
    Conflict when the exam is not finished or has nothing to be credited."""
    with on_exam(house, caller, task_id, parameters, name="credit") as operation:
        if not operation.repeated:
            ended(operation, "credited")
            operation.answer = _credit(house, caller, operation, parameters)
        elif not text(parameters, "invoice"):
            _still_meant(operation)
        return operation.answer


def ended(operation: Operation, what: str) -> None:
    """Raise Conflict unless the exam is finished, or was cancelled, which can cost a fee."""
    if operation.exam.state not in {"finished", "cancelled"}:
        words = (
            f"Only a finished exam is {what}, or the fee of one that was cancelled; this one is {operation.exam.state}."
        )
        raise Conflict(Fault("business-rule", words, "Task.status"))


def unsaid(parameters: Json, needed: Sequence[tuple[str, str]]) -> list[Fault]:
    """A fault for each parameter that is needed and not there."""
    return [
        Fault("required", f"Say {words} in the parameter {name!r}.", f"Parameters.parameter.where(name='{name}')")
        for name, words in needed
        if not text(parameters, name)
    ]


def _still_meant(operation: Operation) -> None:
    """Raise Conflict when the exam was invoiced anew since this same credit was made: either could be meant."""
    made = text(operation.answer, "credit")
    task = operation.work.get("Task", operation.exam.id)
    papers = [(one.item, one.source) for one in entries(decoded(task))] if task else []
    later = papers[papers.index(("credit", made)) :] if ("credit", made) in papers else []
    new = [source for item, source in later if item == "invoice"]
    if new:
        words = f"This same credit was made as {made}, and the exam was invoiced anew since: to credit that, say so"
        raise Conflict(Fault("business-rule", f"{words} in `invoice` ({', '.join(new)}).", "Parameters.parameter"))


def _credit(house: House, caller: Caller, operation: Operation, parameters: Json) -> Json:
    work, exam = operation.work, operation.exam
    case = open_case(house, work, caller, exam)
    ledger = open_ledger(house, work, exam)
    invoices, credits = invoices_of(house, work, ledger.charges)
    parts, wrong = wanted(parameters, case.catalogue.currencies)
    invoice, doubt = _which(invoices, credits, text(parameters, "invoice"))
    faults = [*unsaid(parameters, NEEDED), *wrong, *doubt]
    earlier = credits.get(invoice.id, []) if invoice else []
    faults += refused(invoice, earlier, parts) if invoice else []
    if faults or invoice is None:
        raise RuleBroken(*faults)
    made = credit_invoice.take_back(
        house, work, ledger=ledger, invoice=invoice, earlier=earlier, wanted=parts, practice=case.practice,
        reason=text(parameters, "reason"), by=text(parameters, "by"),
    )  # fmt: skip
    number = sum(len(some) for some in credits.values()) + 1
    return _keep(house, operation, case, made, number=number)


def _keep(house: House, operation: Operation, case: Case, made: credit_invoice.Credited, *, number: int) -> Json:
    work, paper = operation.work, made.invoices[0]
    task = {**case.task, "lastModified": exact.instant(work.now)}
    task["output"] = [*task.get("output", []), outcome("credit", f"Invoice/{paper['id']}")]
    told = [task, *(item for item, _ in made.changed), paper]
    rewrite(work, told)
    work.save_exam(replace(operation.exam, credit=str(paper["id"])))
    delivering.promise(house, work, case, "credited", told, number=number)
    return answered(references=[("exam", f"Task/{case.exam.id}"), ("credit", f"Invoice/{paper['id']}")])


def _which(
    invoices: Sequence[Invoice], credits: Mapping[str, Sequence[Invoice]], reference: str
) -> tuple[Invoice | None, list[Fault]]:
    """The invoice that is meant: the one named, or the only one of which anything is left."""
    where = "Parameters.parameter.where(name='invoice')"
    open_ = [one for one in invoices if not gone(one, credits.get(one.id, ()))]
    if not open_:
        words = "The exam has no invoice of which anything is left to be credited."
        raise Conflict(Fault("business-rule", words, "Task"))
    if not reference and len(open_) == 1:
        return open_[0], []
    named = [one for one in open_ if reference == f"Invoice/{one.id}"]
    if named:
        return named[0], []
    can = ", ".join(f"Invoice/{one.id} ({one.number}, to {one.payer.name or one.payer.reference})" for one in open_)
    return None, [Fault("value" if reference else "required", f"Say which invoice. It can be: {can}.", where)]


def gone(invoice: Invoice, earlier: Sequence[Invoice]) -> bool:
    """Whether earlier credits have taken back all of an invoice."""
    return crediting.credit(invoice, earlier, id_="", number="", issued="") is None
