"""One exam with all that belongs to it, read once: what finishing, amending and withdrawing start from."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from service.actions import earlier_exams
from service.actions.gathering import all_of, stored_of
from service.actions.lookup import Lookup
from service.actions.performed import performed_in
from service.actions.ports import Caller, House, View
from service.actions.practices import practice_of
from service.actions.urgent_case import records_of
from service.actions.writing import decoded
from service.basics.coding import Identifier
from service.basics.errors import Fault, Missing
from service.basics.stored import Exam
from service.billing.practice import Practice
from service.catalogue.catalogue import Catalogue
from service.exam.animal import Animal
from service.exam.asking import answered
from service.exam.evidence import Evidence, Unmapped
from service.exam.matching import match
from service.exam.order import Order
from service.exam.survey import Step
from service.exam.trend import Earlier
from service.exam.urgent_record import UrgentRecord
from service.fhir import uris
from service.fhir.reading import order as reading_order
from service.fhir.reading import patient as reading_patient
from service.fhir.reading.evidence import sightings, source
from service.fhir.reading.names import name_of
from service.fhir.reading.task import step_code, stored_step

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Case:
    """The exam row, its order and animal, its Tasks with the steps read from them, and its evidence as stored.

    practice is the caller's own; owners are the animal's present owners; faults of order or animal are left aside, for
    the exam was accepted with them."""

    exam: Exam
    order: Order
    request: Json
    patient: Json
    task: Json
    procedure: Json
    tasks: tuple[Json, ...]
    steps: tuple[Step, ...]
    observations: tuple[Json, ...]
    images: tuple[Json, ...]  # Media and ImagingStudy
    performed: tuple[Json, ...]  # Procedures done in the exam besides itself
    owners: tuple[Json, ...]
    catalogue: Catalogue
    practice: Practice
    organization: Json | None
    names: Mapping[str, str]  # of the people that evidence names by reference
    urgent: tuple[UrgentRecord, ...] = ()
    earlier: tuple[Earlier, ...] = ()  # finished exams of the same animal, the latest first
    read: dict[tuple[str, str], list[Evidence | Unmapped]] = field(default_factory=dict, compare=False, repr=False)

    def understood(self, resource: Json) -> list[Evidence | Unmapped]:
        """What a resource of evidence says by the mappings in force; each version is read once.

        One that is about to be written has no version yet: nothing of it changes any more but its verdict."""
        key = source(resource), str(resource.get("meta", {}).get("versionId", ""))
        if key not in self.read:
            species = self.order.animal.species
            self.read[key] = [one for seen in sightings(resource) for one in match(seen, self.catalogue, species)]
        return self.read[key]


def open_case(house: House, view: View, caller: Caller, exam: Exam) -> Case:
    """The whole case of an exam, judged by the catalogue it was opened with."""
    catalogue = house.catalogues.of(exam.catalogue)
    lookup = Lookup(view)
    request, patient = _must(lookup, f"ServiceRequest/{exam.order}"), _must(lookup, f"Patient/{exam.animal}")
    given, _ = reading_patient.animal(patient, catalogue.species)
    stored = [(t, decoded(t)) for t in stored_of(house, view, "Task", part_of=f"Task/{exam.id}")]
    tasks = tuple(task for _, task in stored if step_code(task))
    known = (stored_step(t.body, catalogue.protocols[given.species]) for t, task in stored if step_code(task))
    steps = tuple(step for step, shelved in known if not shelved)
    order = _order(request, answered(given, steps), catalogue)
    task = _must(lookup, f"Task/{exam.id}")
    based_on = f"ServiceRequest/{exam.order}"
    live = [r for r in all_of(house, view, "Observation", based_on=based_on) if r.get("status") != "entered-in-error"]
    images = [
        *all_of(house, view, "Media", based_on=based_on),
        *all_of(house, view, "ImagingStudy", basedon=based_on),
    ]
    return Case(
        exam=exam,
        order=order,
        request=request,
        patient=patient,
        task=task,
        procedure=_must(lookup, f"Procedure/{exam.procedure}"),
        tasks=tasks,
        steps=steps,
        observations=tuple(live),
        images=tuple(r for r in images if r.get("status") != "entered-in-error"),
        performed=tuple(performed_in(house, view, exam, house.catalogues.current)),
        owners=tuple(_owners(house, view, exam)),
        catalogue=catalogue,
        practice=practice_of(house, view),
        organization=organization_of(house, view),
        names=names_of(lookup, [*live, *images]),
        urgent=records_of(view, task),
        earlier=earlier_exams.earlier(house, view, exam, catalogue=catalogue, species=given.species),
    )


def names_of(lookup: Lookup, resources: Iterable[Json]) -> dict[str, str]:
    """The names of performers and operators that are stored here, by reference."""
    given = [p for r in resources for p in [*r.get("performer", []), r.get("operator", {})] if isinstance(p, dict)]
    references = {str(p["reference"]) for p in given if p.get("reference")}
    return {ref: name for ref in references if (name := person(lookup, ref))}


def person(lookup: Lookup, reference: str) -> str:
    """The name behind a reference to a person or role; "" when it is not known here."""
    found = lookup.find(reference) or {}
    behind = str(found.get("practitioner", {}).get("reference", ""))
    return name_of(found) or (name_of(lookup.find(behind) or {}) if behind else "")


def exam_of(view: View, task: str) -> Exam:
    """The exam of a Task id; raises Missing for anything else, a step's Task included."""
    exam = view.exam(task)
    if exam is None:
        raise Missing(Fault("not-found", f"Task/{task} is not the Task of an exam.", "Task"))
    return exam


def organization_of(house: House, view: View) -> Json | None:
    """The Organization resource that stands for the organisation itself."""
    own = f"{uris.ORGANIZATION}|{view.organization}"
    return next(iter(all_of(house, view, "Organization", identifier=own)), None)


def numbers(order: Order) -> tuple[Identifier, ...]:
    """The business identifiers of an order: placer, filler, accession."""
    return tuple(n for n in (order.placer, order.filler, order.accession) if n is not None)


def _order(request: Json, animal: Animal, catalogue: Catalogue) -> Order:
    order, _ = reading_order.order(request, animal, catalogue)
    if order is None:
        raise Missing(
            Fault("not-found", "The order's code is no longer in the catalogue the exam was opened with.", "Task")
        )
    return order


def _must(lookup: Lookup, reference: str) -> Json:
    found = lookup.find(reference)
    if found is None:
        raise Missing(Fault("not-found", f"{reference}, which the exam needs, is not there.", "Task"))
    return found


def _owners(house: House, view: View, exam: Exam) -> list[Json]:
    people = all_of(house, view, "RelatedPerson", patient=f"Patient/{exam.animal}")
    return [p for p in people if p.get("active") is not False and _owns(p)]


def _owns(person: Json) -> bool:
    codings = [c for r in person.get("relationship", []) for c in r.get("coding", [])]
    return any(c.get("code") == "OWN" and c.get("system") == uris.ROLE for c in codings)
