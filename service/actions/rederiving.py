"""Resources of an organisation into the exam and step rows, claims and numbers that were once derived from them."""

from collections.abc import Iterable, Iterator
from typing import Any

from service.actions.gathering import all_of
from service.actions.ports import House, View
from service.basics.stored import Exam, StepKey
from service.exam import moments
from service.exam.entries import RETRACTED
from service.exam.survey import Entry
from service.fhir import uris
from service.fhir.reading.task import entries, read_basis, step_code

Json = dict[str, Any]
STATES = {
    "accepted": "accepted",
    "in-progress": "in-progress",
    "completed": "finished",
    "cancelled": "cancelled",
    "failed": "withdrawn",
    "entered-in-error": "withdrawn",
}


def exams(house: House, view: View) -> tuple[list[Exam], list[StepKey]]:
    """The rows of all exams and their steps, read from their Tasks; search keys must be in place already."""
    found: list[Exam] = []
    steps: list[StepKey] = []
    for task in all_of(house, view, "Task", code=f"{uris.TASK_FULFIL}|fulfill"):
        if not _ours(task):
            continue
        parts = [p for p in all_of(house, view, "Task", part_of=f"Task/{task['id']}") if step_code(p)]
        found.append(_exam(house, view, task, parts))
        steps += [StepKey(task["id"], step_code(p), p["id"], p["status"]) for p in parts]
    return found, steps


def claims(kinds: frozenset[tuple[str, str]], resource: Json) -> Iterator[str]:
    """The criteria that a resource holds by the identifier kinds that belong to one resource only."""
    given = resource.get("identifier", [])
    for identifier in given if isinstance(given, list) else [given]:
        types = {
            c.get("code")
            for c in identifier.get("type", {}).get("coding", [])
            if c.get("system") == uris.IDENTIFIER_TYPE
        }
        if any((resource["resourceType"], t) in kinds for t in types) and identifier.get("value"):
            yield f"identifier={identifier.get('system', '')}|{identifier['value']}"


def number(resource: Json) -> tuple[int, int] | None:
    """(year, number) of an Invoice of ours, None for everything else."""
    if resource["resourceType"] != "Invoice":
        return None
    for identifier in resource.get("identifier", []):
        year, _, count = str(identifier.get("value", "")).partition("-")
        if str(identifier.get("system", "")).startswith(uris.INVOICE_NUMBER) and year.isdigit() and count.isdigit():
            return int(year), int(count)
    return None


def _ours(task: Json) -> bool:
    return any(i.get("system") == uris.ID for i in task.get("identifier", [])) and "instantiatesCanonical" in task


def _exam(house: House, view: View, task: Json, parts: Iterable[Json]) -> Exam:
    order = str(task["focus"]["reference"]).removeprefix("ServiceRequest/")
    procedures = all_of(house, view, "Procedure", based_on=f"ServiceRequest/{order}")
    procedure = next((p for p in procedures if any(i.get("system") == uris.ID for i in p.get("identifier", []))), {})
    made = {e.item: e.source.partition("/")[2] for e in entries(task) if e.item in {"report", "invoice", "credit"}}
    _, service, _ = read_basis(task)
    state = STATES[task["status"]]
    return Exam(
        id=task["id"],
        order=order,
        animal=str(task["for"]["reference"]).removeprefix("Patient/"),
        procedure=str(procedure.get("id", "")),
        service=service,
        catalogue=str(task["instantiatesCanonical"]).partition("|")[2],
        state=state,
        started=str(procedure.get("performedPeriod", {}).get("start", "")) or _earliest(task, parts),
        report=made.get("report", ""),
        invoice=made.get("invoice", ""),
        credit=made.get("credit", ""),
    )


def _earliest(task: Json, parts: Iterable[Json]) -> str:
    """The earliest time among all that was entered and not taken back."""
    held: list[Entry] = [e for one in (task, *parts) for e in entries(one)]
    times = [e.at for e in held if e.at and not e.item.startswith(RETRACTED)]
    return moments.earliest(times) or min(times, default="")
