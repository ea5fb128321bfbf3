"""A case as understood into what billing must know of it: what was done, for whom, by whom, who may pay."""

from collections.abc import Iterator
from typing import Any

from service.actions.case import Case
from service.actions.closing import Closed
from service.actions.done_besides import times
from service.actions.full_surveys import full_surveys
from service.actions.insured import insurance_of
from service.actions.lookup import Lookup
from service.actions.ports import House, View
from service.actions.referral_of import billed
from service.actions.reporting import Seen
from service.billing.exam_facts import ExamFacts, Shown
from service.billing.situation import GRADES
from service.exam.protocol import steps_for
from service.fhir import uris
from service.fhir.reading.names import name_of
from service.fhir.writing.report import Party

Json = dict[str, Any]
SPECIALIST = "specialist"


def facts(
    house: House, view: View, case: Case, known: Seen, *, started: str, signer: Party, closed: Closed
) -> ExamFacts:
    """What the exam shows; closed: what a rest that was left does to the price, and why it was left."""
    lookup = Lookup(view)
    owner = case.owners[0] if len(case.owners) == 1 else None  # several owners: a person says who pays
    grade = _grade(lookup, signer.reference)
    asked = _organization(lookup, case.order.requester)
    owner = billed(house, view, case.exam.order, asked) or owner
    insurer, insurance = insurance_of(house, view, case, started=started)
    return ExamFacts(
        started=started,
        animal_name=case.order.animal.name,
        species=case.order.animal.species,
        weight_kg=_weight(case, known),
        shown=tuple(_shown(case, known, grade)),
        price_effect=closed.price_effect,
        reason=closed.why,
        documented=_documented(case, known),
        performer=signer.reference,
        performer_name=signer.display,
        grade=grade,
        priority=case.order.priority,
        visit=str(case.request.get("encounter", {}).get("reference", "")).removeprefix("Encounter/"),
        owner=f"{owner['resourceType']}/{owner['id']}" if owner else "",
        owner_name=name_of(owner) if owner else "",
        requester=f"Organization/{asked['id']}" if asked else "",
        requester_name=name_of(asked) if asked else "",
        requesters=tuple(_names(asked)) if asked else (),
        fulls=full_surveys(house, view, case),
        insurer=str(insurer.get("reference", "")),
        insurer_name=str(insurer.get("display") or name_of(lookup.find(str(insurer.get("reference", ""))) or {})),
        insurance=insurance,
    )


def _shown(case: Case, known: Seen, grade: str) -> Iterator[Shown]:
    if known.doppler:
        yield Shown("doppler")
    if known.sedated:
        yield Shown("sedation")
    yield from (Shown(trigger, count) for trigger, count in times(known.evidence, case.catalogue).items())
    if case.order.priority != "routine":
        yield Shown("priority", note=f"The order was accepted with the priority {case.order.priority}.")
    if grade == SPECIALIST:
        yield Shown("specialist", note="The report is signed by a specialist.")


def _weight(case: Case, known: Seen) -> Any:
    said = known.weight.sighting if known.weight is not None else None
    return said.quantity if said is not None and said.unit == "kg" else case.order.animal.weight_kg


def _documented(case: Case, known: Seen) -> str:
    """The charge of the full survey where a smaller exam was ordered and all that a full one requires was recorded."""
    services = case.catalogue.services.values()
    full = next((s for s in services if s.scope == "full"), None)
    if full is None or case.order.service.scope != "limited":
        return ""
    protocol = case.catalogue.protocols[case.order.animal.species]
    asked = {r.structure for r in steps_for(protocol, case.order.animal, full, ()) if r.owed_from_start and r.structure}
    had = {e.structure for e in known.evidence if e.items}
    return full.charge if asked and asked <= had else ""


def _grade(lookup: Lookup, reference: str) -> str:
    """The highest grade that the qualifications of a Practitioner, or the codes of a role, state in our own codes."""
    found = lookup.find(reference) if reference else None
    if found is None:
        return ""
    behind = lookup.find(str(found.get("practitioner", {}).get("reference", ""))) or {}
    concepts = [q.get("code", {}) for r in (found, behind) for q in r.get("qualification", [])]
    concepts += [c for key in ("code", "specialty") for c in _listed(found.get(key))]
    held = {c.get("code") for one in concepts for c in one.get("coding", []) if c.get("system") == uris.GRADE}
    return next((grade for grade in reversed(GRADES) if grade in held), "")


def _listed(value: Any) -> list[Json]:
    return value if isinstance(value, list) else []


def _organization(lookup: Lookup, requester: str) -> Json | None:
    """The organisation that asked, or for which the one who asked works."""
    found = lookup.find(requester) if requester else None
    if found is None or found["resourceType"] == "Organization":
        return found
    return lookup.find(str(found.get("organization", {}).get("reference", "")))


def _names(organization: Json) -> Iterator[str]:
    yield f"Organization/{organization['id']}"
    for one in organization.get("identifier", []):
        if one.get("value"):
            yield f"{one.get('system', '')}|{one['value']}"
