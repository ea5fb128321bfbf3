"""What a person says when a report is signed: the parameters of an operation into a Signature."""

from typing import Any

from service.actions.case import person
from service.actions.lookup import Lookup
from service.actions.reporting import Signature
from service.fhir.reading.parameters import named, text
from service.fhir.writing.report import Party

Json = dict[str, Any]


def signature(parameters: Json, lookup: Lookup) -> Signature:
    """The signature as given; a bare reference to who interprets gets the name behind it. Blank texts are left out."""

    def said(name: str) -> tuple[str, ...]:
        return tuple(str(t).strip() for t in named(parameters, name) if str(t).strip())

    return Signature(
        interpreter=_interpreter(parameters, lookup),
        conclusions=said("conclusion"),
        differentials=said("differential"),
        recommendations=said("recommendation"),
        comparison=said("comparison"),
        procedures=said("procedure"),
        urgent=said("urgent"),
        remaining=text(parameters, "remaining"),
        remaining_detail=text(parameters, "detail"),
        codes=codes(parameters),
        major=next((one for one in named(parameters, "major") if isinstance(one, bool)), None),
    )


def codes(parameters: Json) -> tuple[Json, ...]:
    """What is concluded in codes: each a CodeableConcept; a Coding alone becomes one."""
    given = [one for one in named(parameters, "conclusionCode") if isinstance(one, dict)]
    return tuple(one if "coding" in one or "text" in one else {"coding": [one]} for one in given)


def _interpreter(parameters: Json, lookup: Lookup) -> Party:
    given = next(iter(named(parameters, "interpreter")), None)
    reference = str(given.get("reference", "")) if isinstance(given, dict) else ""
    display = str(given.get("display", "")) if isinstance(given, dict) else str(given or "").strip()
    return Party(reference, display or (person(lookup, reference) if reference else ""))
