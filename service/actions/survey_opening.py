"""An accepted order into the Tasks of its exam: one for the whole, one for each step of the survey that applies."""

from typing import Any

from service.actions.ports import Work
from service.basics.ids import new_id
from service.basics.stored import Exam, StepKey
from service.billing.practice import Practice
from service.catalogue.catalogue import Catalogue
from service.exam.order import Order
from service.exam.owed import owed
from service.exam.protocol import steps_for
from service.exam.survey import Step
from service.exam.survey_state import state
from service.fhir import exact, uris
from service.fhir.writing.task import exam_task, step_task

Json = dict[str, Any]


def open_steps(
    work: Work, *, exam: Exam, order: Order, catalogue: Catalogue, practice: Practice
) -> tuple[list[Json], list[StepKey]]:
    """The exam's Task, its steps' Tasks with what each owes from the start, and their keys."""
    now = exact.instant(work.now)
    animal = order.animal
    whole = exam_task(exam.id, order, now=now)
    whole["instantiatesCanonical"] = f"{uris.PROTOCOL}/{animal.species}|{exam.catalogue}"
    tasks, keys = [whole], []
    for rule in steps_for(catalogue.protocols[animal.species], animal, order.service, order.structures):
        step = Step(new_id(), rule)
        structure = catalogue.structures.get(rule.structure)
        attributes = catalogue.vocabularies.get(structure.vocabulary, ()) if structure else ()
        missing = owed(
            step,
            attributes,
            stills_owed=practice.stills_owed,
            clips_owed=practice.clips_owed,
            titles=titles(catalogue, animal.species, rule.structure),
        )
        stands = state(step, missing)
        task = step_task(step, missing, state=stands, exam_id=exam.id, order_id=order.id, animal_id=animal.id, now=now)
        tasks.append(task)
        keys.append(StepKey(exam.id, rule.code, step.task, stands[0]))
    return tasks, keys


def titles(catalogue: Catalogue, species: str, structure: str) -> dict[str, str]:
    """Words for the measurements of a structure, by item."""
    rules = catalogue.measures.items()
    return {f"measure:{key}": rule.title for (kind, place, key), rule in rules if (kind, place) == (species, structure)}
