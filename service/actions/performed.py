"""Procedures that a sender tells were done in an exam: which of them are evidence of it, and those that an exam has."""

from typing import Any

from service.actions.gathering import all_of
from service.actions.ports import House, View
from service.basics.stored import Exam
from service.catalogue.catalogue import Catalogue
from service.fhir.reading.coded import codings

Json = dict[str, Any]
NOTES = frozenset({"note:sample", "note:cystocentesis", "note:drainage"})  # what is done with a needle


def is_performed(resource: Json, rules: Catalogue) -> bool:
    """Whether it is a Procedure on an order that tells of a sample, a cystocentesis or a drainage."""
    if resource.get("resourceType") != "Procedure" or not resource.get("basedOn"):
        return False
    rows = (rules.properties.get((c.system, c.code), ()) for c in codings(resource.get("code")))
    return any(NOTES.intersection(row) for row in rows)


def performed_in(house: House, view: View, exam: Exam, rules: Catalogue) -> list[Json]:
    """The Procedures done in an exam besides itself that stand."""
    found = all_of(house, view, "Procedure", based_on=f"ServiceRequest/{exam.order}")
    others = (one for one in found if one["id"] != exam.procedure and one.get("status") != "entered-in-error")
    return [one for one in others if is_performed(one, rules)]
