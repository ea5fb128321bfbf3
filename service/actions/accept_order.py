"""A new order into an exam: its Task, a Task per survey step, the Procedure to be performed and the planned charge."""

from collections.abc import Iterable
from typing import Any

from service.actions import bill_exam, operations_on_record
from service.actions.lookup import Lookup
from service.actions.ports import Caller, House, Work
from service.actions.practices import catalogue_of, practice_of
from service.actions.survey_opening import open_steps
from service.actions.writing import write
from service.basics.errors import Fault, RuleBroken
from service.basics.ids import new_id
from service.basics.stored import Exam
from service.catalogue.catalogue import Catalogue
from service.catalogue.files import pack
from service.exam.animal import Animal
from service.exam.order import Order
from service.fhir.reading import order as reading_order
from service.fhir.reading import patient as reading_patient
from service.fhir.writing.procedure import procedure

Json = dict[str, Any]


def accept(house: House, work: Work, caller: Caller, request: Json, *, lookup: Lookup) -> Exam:
    """Open the exam of a ServiceRequest within the open transaction; raises RuleBroken with all that is wrong."""
    catalogue = catalogue_of(house, work)
    order = understood(request, lookup, catalogue)
    exam = Exam(
        id=new_id(),
        order=order.id,
        animal=order.animal.id,
        procedure=new_id(),
        service=order.service.key,
        catalogue=catalogue.hash,
        state="accepted",
    )
    work.keep_catalogue(catalogue.hash, pack(catalogue.files))
    practice = practice_of(house, work)
    record = operations_on_record.known(house, work, order.animal.id, lookup)
    tasks, keys = open_steps(work, exam=exam, order=order, catalogue=catalogue, practice=practice, record=record)
    charges = bill_exam.plan(house, work, caller=caller, exam=exam, order=order, catalogue=catalogue)
    write(work, [*tasks, procedure(exam.procedure, order), *charges])
    work.save_exam(exam)
    work.save_steps(keys)
    return exam


def understood(request: Json, lookup: Lookup, catalogue: Catalogue) -> Order:
    """The order of a ServiceRequest with its animal; raises RuleBroken with all faults of both, each in its place."""
    reference = str(request.get("subject", {}).get("reference", ""))
    patient = lookup.find(reference) if reference.startswith("Patient/") else None
    animal, wrong = Animal(id="", species=""), [UNKNOWN]
    if patient is not None:
        animal, wrong = reading_patient.animal(patient, catalogue.species)
    order, faults = reading_order.order(request, animal, catalogue)
    here = lookup.place(f"ServiceRequest/{request['id']}", otherwise="")
    there = here if patient is None else lookup.place(reference, otherwise=_behind(here))
    faults = [*_placed(wrong, there), *_placed(faults, here)]
    if faults or order is None:
        raise RuleBroken(*faults)
    return order


UNKNOWN = Fault(
    "not-found",
    "The order names no animal that is known here: subject must refer to a Patient.",
    "ServiceRequest.subject",
)


def _behind(here: str) -> str:
    return f"{here or 'ServiceRequest'}.subject.resolve()"


def _placed(faults: Iterable[Fault], place: str) -> list[Fault]:
    return [f.inside(place) if place else f for f in faults]
