"""A resource of one type -> the invariants of that type that compare elements with each other."""

from collections.abc import Callable, Iterator
from typing import Any

from service.basics.errors import Fault
from service.fhir import moments, uris


def _codings(concept: Any) -> list[tuple[str, str]]:
    given = concept.get("coding") if isinstance(concept, dict) else None
    codings = given if isinstance(given, list) else []
    return [(str(coding.get("system")), str(coding.get("code"))) for coding in codings if isinstance(coding, dict)]


def _items(resource: dict[str, Any], name: str) -> list[dict[str, Any]]:
    given = resource.get(name)
    return [item for item in given if isinstance(item, dict)] if isinstance(given, list) else []


def _observation(resource: dict[str, Any]) -> Iterator[Fault]:
    if "component" in resource and any(name.startswith("value") for name in resource):
        own = set(_codings(resource.get("code")))
        for at, component in enumerate(_items(resource, "component")):
            if own & set(_codings(component.get("code"))):
                text = "obs-7: a component does not repeat the code whose value the observation gives"
                yield Fault("invariant", text, f"Observation.component[{at}].code")


def _condition(resource: dict[str, Any]) -> Iterator[Fault]:
    clinical = _codings(resource.get("clinicalStatus"))
    ended = {(uris.CONDITION_CLINICAL, code) for code in ("resolved", "remission", "inactive")}
    if any(name.startswith("abatement") for name in resource) and not ended & set(clinical):
        text = "con-4: a condition that has abated is resolved, in remission or inactive"
        yield Fault("invariant", text, "Condition.clinicalStatus")
    if (uris.CONDITION_VERIFICATION, "entered-in-error") in _codings(resource.get("verificationStatus")) and clinical:
        text = "con-5: a condition entered in error has no clinical status"
        yield Fault("invariant", text, "Condition.clinicalStatus")


def _appointment(resource: dict[str, Any]) -> Iterator[Fault]:
    status = str(resource.get("status"))
    if not {"start", "end"} <= set(resource) and status not in ("proposed", "cancelled", "waitlist"):
        yield Fault("invariant", "app-3: an appointment of this status needs start and end", "Appointment.start")
    if "cancelationReason" in resource and status not in ("no-show", "cancelled"):
        text = "app-4: only what was cancelled or not kept has a reason for it"
        yield Fault("invariant", text, "Appointment.cancelationReason")


def _organization(resource: dict[str, Any]) -> Iterator[Fault]:
    for name, key in (("address", "org-2"), ("telecom", "org-3")):
        for at, item in enumerate(_items(resource, name)):
            if item.get("use") == "home":
                yield Fault("invariant", f"{key}: an organization has no home", f"Organization.{name}[{at}].use")


def _task(resource: dict[str, Any]) -> Iterator[Fault]:
    first, last = (moments.of_text(str(resource.get(name, ""))) for name in ("authoredOn", "lastModified"))
    if first and last and last[1] < first[0]:
        yield Fault("invariant", "inv-1: a task is not modified before it was authored", "Task.lastModified")


RULES: dict[str, Callable[[dict[str, Any]], Iterator[Fault]]] = {
    "Observation": _observation,
    "Condition": _condition,
    "Appointment": _appointment,
    "Organization": _organization,
    "Task": _task,
}
