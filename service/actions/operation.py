"""What the operations on an exam share: the locked exam, the same answer to the same request, its line in the audit."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from service.actions import repeats, tracing
from service.actions.case import exam_of
from service.actions.ports import Caller, House, Work
from service.basics.errors import Conflict, Fault, Missing
from service.basics.stored import Exam
from service.fhir import exact

Json = dict[str, Any]


@dataclass(slots=True)
class Operation:
    """One operation on one exam within its transaction; whoever carries it out sets `answer`, which is kept."""

    work: Work
    exam: Exam
    name: str
    fingerprint: str
    answer: Json = field(default_factory=dict)
    repeated: bool = False


@contextmanager
def on_exam(
    house: House, caller: Caller, task: str, parameters: Json, *, name: str, once: bool = False, kept: bool = True
) -> Iterator[Operation]:
    """The operation on the exam of this Task, the exam held until the end.

    The same content again finds `repeated` set and the first answer there. With once, other content than the first
    time raises Conflict; without kept nothing is remembered. Raises Missing when the Task is not an exam's."""
    with house.books.begin(caller.organization) as work:
        exam = work.lock_exam(exam_of(work, task).id)
        if exam is None:
            raise Missing(Fault("not-found", f"There is no exam Task/{task}.", "Task"))
        operation = Operation(work, exam, name, repeats.fingerprint(parameters))
        key = f"{name}:{exam.id}" if once else f"{name}:{exam.id}:{operation.fingerprint}"
        receipt = work.receipt(key) if kept else None
        if receipt and receipt[0] == operation.fingerprint:
            operation.repeated, operation.answer = True, exact.decode(receipt[1])
        elif receipt and once:
            hint = "" if name == "withdraw" else "; what is final changes by $amend"
            text = f"The exam was already {PAST[name]} with other content{hint}."
            raise Conflict(Fault("business-rule", text, "Parameters"))
        yield operation
        if kept and not operation.repeated:
            work.save_receipt(key, operation.fingerprint, exact.encode(operation.answer))
        touched = _touched(operation.answer)
        work.trace(tracing.operation(work, caller, name, task=exam.id, entities=touched))


PAST = {"finish": "finished", "amend": "amended", "withdraw": "withdrawn"}


def _touched(answer: Json) -> Iterator[str]:
    parts = answer.get("parameter", [])
    return (str(p["valueReference"]["reference"]) for p in parts if "valueReference" in p)
