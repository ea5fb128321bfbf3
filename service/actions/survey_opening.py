"""An accepted order into the Tasks of its exam: one for the whole, one for each step of the survey that applies."""

from collections.abc import Sequence
from typing import Any

from service.actions.ports import Work
from service.basics.ids import new_id
from service.basics.stored import Exam, StepKey
from service.billing.practice import Practice
from service.catalogue.catalogue import Catalogue
from service.exam.asking import answered
from service.exam.evidence import Evidence
from service.exam.order import Order
from service.exam.owed import owed
from service.exam.protocol import steps_for
from service.exam.spread import spread
from service.exam.survey import Entry, Owed, Step
from service.exam.survey_state import note, state
from service.fhir import exact, uris
from service.fhir.writing.task import exam_task, step_task, update_exam

Json = dict[str, Any]


def open_steps(
    work: Work,
    *,
    exam: Exam,
    order: Order,
    catalogue: Catalogue,
    practice: Practice,
    record: Sequence[Evidence] = (),
) -> tuple[list[Json], list[StepKey]]:
    """The exam's Task, its steps' Tasks with what each owes from the start, and their keys.

    record: operations on the animal's record, which fill in what a person then confirms."""
    now = exact.instant(work.now)
    animal = answered(order.animal, (), [Entry(item, "", "", "") for e in record for item in e.items])
    rules = steps_for(catalogue.protocols[animal.species], animal, order.service, order.structures)
    steps = [Step(new_id(), rule) for rule in rules]
    known = spread(record, steps, now=now)
    whole = exam_task(exam.id, order, now=now)
    whole["instantiatesCanonical"] = f"{uris.PROTOCOL}/{animal.species}|{exam.catalogue}"
    tasks, keys = [update_exam(whole, known.whole, status="accepted", now=now)], []
    for bare in steps:
        step = note(bare, known.entries.get(bare.rule.code, ()))
        missing = _missing(step, animal.species, catalogue, practice)
        stands = state(step, missing)
        task = step_task(step, missing, state=stands, exam_id=exam.id, order_id=order.id, animal_id=animal.id, now=now)
        tasks.append(task)
        keys.append(StepKey(exam.id, step.rule.code, step.task, stands[0]))
    return tasks, keys


def _missing(step: Step, species: str, catalogue: Catalogue, practice: Practice) -> tuple[Owed, ...]:
    structure = catalogue.structures.get(step.rule.structure)
    return owed(
        step,
        catalogue.vocabularies.get(structure.vocabulary, ()) if structure else (),
        stills_owed=practice.stills_owed,
        clips_owed=practice.clips_owed,
        titles=titles(catalogue, species, step.rule.structure),
    )


def titles(catalogue: Catalogue, species: str, structure: str) -> dict[str, str]:
    """Words for the measurements of a structure, by item."""
    rules = catalogue.measures.items()
    return {f"measure:{key}": rule.title for (kind, place, key), rule in rules if (kind, place) == (species, structure)}
