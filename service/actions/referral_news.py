"""What changes at the clinic after an animal was referred, told to the hospitals: order, animal, owners, consents."""

from collections.abc import Iterable, Sequence
from typing import Any

from service.actions import referral_sending
from service.actions.gathering import all_of
from service.actions.lookup import Lookup
from service.actions.pending import Pending
from service.actions.ports import House, View, Work
from service.basics.agreement import PREFIX, REFERRAL
from service.fhir import uris
from service.fhir.reading import referral as reading

Json = dict[str, Any]
TYPES = frozenset({"ServiceRequest", "Patient", "RelatedPerson", "Consent"})


def tell(house: House, work: Work, waiting: Sequence[Pending], lookup: Lookup) -> None:
    """Promise each hospital what changed of the animals that were referred there; nothing where none was."""
    changed = [one for one in waiting if one.writes and one.resource and one.entry.type in TYPES]
    changed = [one for one in changed if one.before or one.entry.type in {"RelatedPerson", "Consent"}]
    if not changed or not any(name.startswith(PREFIX) for name, _ in work.routes()):
        return
    own = {a.id for a in work.agreements() if a.clinic == work.organization}
    for one in changed:
        resource = one.resource or {}
        sent: set[str] = set()
        for task in _referrals(house, work, resource):
            id_ = reading.agreement_of(task)
            if id_ not in own or id_ in sent:
                continue
            sent.add(id_)
            told = [*_linked(resource, lookup), *_animal(resource, lookup), resource]
            event = "revoked" if resource.get("status") == "revoked" else "changed"
            key = f"{reading.number(task)}:{event}:{one.reference}.{one.version}"
            number = reading.number(task)
            referral_sending.post(house, work, id_, told, names={}, event=event, number=number, key=key)


def _referrals(house: House, view: View, resource: Json) -> Iterable[Json]:
    code = f"{uris.TASK_CODE}|{REFERRAL}"
    if resource["resourceType"] == "ServiceRequest":
        return all_of(house, view, "Task", code=code, focus=f"ServiceRequest/{resource['id']}")
    animal = f"Patient/{resource['id']}" if resource["resourceType"] == "Patient" else _subject(resource)
    return all_of(house, view, "Task", code=code, patient=animal)[::-1] if animal else []


def _subject(resource: Json) -> str:
    return str((resource.get("patient") or resource.get("subject") or {}).get("reference", ""))


def _animal(resource: Json, lookup: Lookup) -> list[Json]:
    """The animal that it is about, without which the other side could not tell."""
    found = lookup.find(_subject(resource))
    return [found] if found else []


def _linked(resource: Json, lookup: Lookup) -> list[Json]:
    """The records that an animal's record is linked with: what replaced it is known there too."""
    others = (str(link.get("other", {}).get("reference", "")) for link in resource.get("link", []))
    return [found for one in others if (found := lookup.find(one))]
