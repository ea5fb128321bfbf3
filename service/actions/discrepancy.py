"""A change of the report that can alter the animal's care into an urgent finding of its own, to be told at once."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from service.actions.case import Case
from service.actions.ports import Work
from service.actions.urgent_case import Matter
from service.actions.urgent_opening import confirm, raised
from service.exam.report import Edition
from service.fhir.reading.urgent import record
from service.fhir.writing.report import Party

Json = dict[str, Any]
CODE = "discrepancy"


def opened(
    work: Work, case: Case, others: Iterable[Json], *, edition: Edition, conclusions: Iterable[str]
) -> tuple[Case, list[Json]]:
    """(the case that knows of it, what is to be written); nothing unless the author says that the change is major.

    others: what the same amendment changes besides; of the exam's Task the newest state counts."""
    if not edition.major:
        return case, []
    task = next((o for o in others if (o["resourceType"], o["id"]) == ("Task", case.exam.id)), case.task)
    matter = Matter(work, case.exam, case.catalogue, task)
    rule = case.catalogue.urgent[CODE]
    tier = case.catalogue.tiers[rule.tier]
    finding = raised(matter, code=CODE, title=rule.title, tier=tier)
    said = "; ".join([edition.reason, *(f"now: {one}" for one in conclusions)])
    confirm(matter, finding, by=edition.by, reason=said, tier=tier, recipient=Party())
    if matter.finding is not None:
        told = record(matter.finding, matter.message, matter.communication)
        case = replace(case, task=matter.task, urgent=(*case.urgent, told))
    return case, matter.changed
