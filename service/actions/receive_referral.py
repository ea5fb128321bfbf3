"""What a clinic refers into a referral at the hospital: its Task, the animal matched or a person asked."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from service.actions import accept_order, refer_order, referral_sending
from service.actions.gathering import all_of
from service.actions.lookup import Lookup
from service.actions.pending import Pending
from service.actions.ports import Caller, House, View, Work
from service.actions.practices import catalogue_of
from service.actions.referral_of import agreed_on, referral_of
from service.actions.writing import decoded, rewrite, write
from service.basics.agreement import Agreement
from service.basics.errors import Fault, RuleBroken
from service.basics.ids import new_id
from service.catalogue.catalogue import Catalogue
from service.exam.right_animal import Matched, Told, match
from service.fhir import exact
from service.fhir.reading import patient as reading_patient
from service.fhir.reading import referral as reading
from service.fhir.writing import referral as writing

Json = dict[str, Any]
TOUCHED = frozenset({"ServiceRequest", "Patient"})
MOST = 8  # records that may have replaced one another


def recognised(work: View, caller: Caller, waiting: Sequence[Pending]) -> Caller:
    """The caller, with the agreement of a clinic elsewhere whose token or client this is."""
    if caller.agreement or not caller.label or not any(one.entry.type in TOUCHED for one in waiting):
        return caller
    found = (a for a in work.agreements() if a.client == caller.label and a.hospital == work.organization)
    held = next(found, None)
    return replace(caller, agreement=held.id) if held else caller


def localize(caller: Caller, waiting: Sequence[Pending]) -> None:
    """Keep what the hospital decided: which of its animals an order is about, and what replaced a record."""
    if not caller.agreement:
        return
    for one in waiting:
        if one.entry.type not in TOUCHED or one.before is None or one.resource is None or not one.writes:
            continue
        before = decoded(one.before)
        if one.entry.type == "ServiceRequest":
            one.resource["subject"] = before["subject"]
        elif before.get("link"):
            told = one.resource.get("link", [])
            one.resource["link"] = [*before["link"], *(link for link in told if link not in before["link"])]


def receive(house: House, work: Work, caller: Caller, request: Json, *, lookup: Lookup) -> list[Json]:
    """Open the referral of a clinic's order; what changes beside it. Raises RuleBroken with all that is wrong."""
    agreed = next((one for one in work.agreements() if one.id == caller.agreement), None)
    catalogue, now = catalogue_of(house, work), exact.instant(work.now)
    order = accept_order.understood(request, lookup, catalogue)
    if agreed is None or not agreed.holds(now[:10]):
        raise RuleBroken(Fault("business-rule", refer_order.NONE, "ServiceRequest.performer"))
    faults = list(refer_order.against(house, work, agreed, order, lookup=lookup, day=now[:10]))
    if faults:
        raise RuleBroken(*faults)
    told = str(request["subject"]["reference"])
    number = f"{agreed.id}.{reading.there(request) or order.id}"
    task = writing.task(
        new_id(),
        number=number,
        order=f"ServiceRequest/{order.id}",
        animal=told,
        agreement=agreed.id,
        hospital=agreed.hospital,
        clinic=agreed.title or agreed.party,
        now=now,
        state="received",
    )
    changed, matched = _identified(house, work, told, lookup=lookup, catalogue=catalogue)
    new = [task]
    if matched.doubt:
        asked = {"order": f"ServiceRequest/{order.id}", "animal": told, "why": matched.doubt}
        new.append(
            writing.animal_task(
                new_id(), referral=f"Task/{task['id']}", candidates=matched.candidates, now=now, **asked
            )
        )
    elif matched.reference:
        request["subject"] = {"reference": matched.reference}
        task["for"] = {"reference": matched.reference}
    write(work, new)
    tell(house, work, task, request, agreed=agreed, lookup=lookup, event="received")
    return changed


def revoked(house: House, work: Work, request: Json, *, lookup: Lookup) -> None:
    """End a referral whose order the clinic takes back before it was accepted, and tell that it ended."""
    task = referral_of(house, work, request["id"])
    agreed = agreed_on(work, task)
    if task is not None and agreed is not None and reading.state(task) not in {"cancelled", "rejected"}:
        task = writing.moved(task, "cancelled", now=exact.instant(work.now), reason="The clinic took its order back.")
        rewrite(work, [task])
        tell(house, work, task, request, agreed=agreed, lookup=lookup, event="cancelled")


def tell(house: House, work: Work, task: Json, request: Json, *, agreed: Agreement, lookup: Lookup, event: str) -> None:
    """Promise the clinic how its referral stands."""
    names = referral_sending.names_there(lookup, task, request, in_house=bool(agreed.clinic))
    number, version = reading.number(task), task["meta"]["versionId"]
    referral_sending.post(
        house, work, agreed.id, [task], names=names, event=event, number=number, key=f"{number}:{event}:{version}"
    )


def linked(house: House, work: Work, told: Json, known: str) -> list[Json]:
    """Both records, saying that the one told of was replaced by the one known here."""
    stored = work.get(*_key(known))
    if stored is None or stored.deleted:
        raise RuleBroken(
            Fault("not-found", f"{known} is not known here.", "Parameters.parameter.where(name='patient')")
        )
    here = decoded(stored)
    link = {"other": {"reference": known}, "type": "replaced-by"}
    back = {"other": {"reference": f"Patient/{told['id']}"}, "type": "replaces"}
    told["link"] = [*told.get("link", []), link]
    return [{**here, "link": [*here.get("link", []), *([] if back in here.get("link", []) else [back])]}]


def standing(lookup: Lookup, reference: str) -> str:
    """The record that stands for an animal: whatever replaced the one named, and what replaced that."""
    for _ in range(MOST):
        following = reading.survivor(lookup.find(reference) or {})
        if not following:
            break
        reference = following
    return reference


def _identified(
    house: House, work: Work, told: str, *, lookup: Lookup, catalogue: Catalogue
) -> tuple[list[Json], Matched]:
    """(what changes in the records of animals, which animal it is)."""
    known = standing(lookup, told)
    if known != told:
        return [], Matched(known)
    patient = lookup.find(told) or {}
    owners = refer_order.owners_of(house, work, told, lookup)
    species, _ = reading_patient.animal(patient, catalogue.species)
    about = reading.told(patient, owners, species.species)
    matched = match(about, _known(house, work, about, owners, catalogue=catalogue))
    if not matched.reference:
        return [], matched
    changed = linked(house, work, patient, matched.reference)
    return [*changed, *([] if told in lookup.written else [patient])], matched


def _known(house: House, work: View, told: Told, owners: Sequence[Json], *, catalogue: Catalogue) -> Iterator[Told]:
    """The animals here that bear the chip, or whose owner might be the one told of."""
    found: dict[str, Json] = {}
    for chip in sorted(told.chips):
        found |= {one["id"]: one for one in all_of(house, work, "Patient", identifier=chip)}
    for person in _people(house, work, told, owners):
        stored = work.get(*_key(str(person.get("patient", {}).get("reference", ""))))
        if stored is not None and not stored.deleted:
            found[stored.id] = decoded(stored)
    for one in found.values():
        if f"Patient/{one['id']}" != told.reference and not reading.survivor(one) and one.get("active") is not False:
            people = all_of(house, work, "RelatedPerson", patient=f"Patient/{one['id']}")
            animal, _ = reading_patient.animal(one, catalogue.species)
            yield reading.told(one, people, animal.species)


def _people(house: House, work: View, told: Told, owners: Sequence[Json]) -> Iterator[Json]:
    for system, value in sorted(told.owner_numbers):
        yield from all_of(house, work, "RelatedPerson", identifier=f"{system}|{value}")
    for one in owners:
        for name in one.get("name", []):
            words = str(name.get("family") or name.get("text") or "").replace("\\", "").replace(",", "\\,").strip()
            if words:
                yield from all_of(house, work, "RelatedPerson", name=words)


def _key(reference: str) -> tuple[str, str]:
    type_, _, id_ = reference.partition("/")
    return type_, id_
