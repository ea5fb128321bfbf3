"""A clinic's order to another organisation into its referral: allowed by an agreement, tracked by a Task, promised."""

from collections.abc import Iterator
from typing import Any

from service.actions import accept_order, referral_sending
from service.actions.case import organization_of
from service.actions.gathering import all_of
from service.actions.lookup import Lookup
from service.actions.ports import House, View, Work
from service.actions.practices import catalogue_of
from service.actions.writing import write
from service.basics.agreement import Agreement
from service.basics.errors import Fault, RuleBroken
from service.basics.ids import new_id
from service.exam.order import Order
from service.fhir import exact
from service.fhir.reading import referral as reading
from service.fhir.reading.names import name_of
from service.fhir.writing import referral as writing

Json = dict[str, Any]
NONE = (
    "There is no agreement with the performer about referrals, so nothing is sent there: an operator adds one "
    "(sonoledger agreement add), or leave performer out to have it done here."
)


def addressee(work: View, request: Json, lookup: Lookup) -> str:
    """The slug of the organisation that an order is for; "" when that is the one it was sent to."""
    named = [one for one in request.get("performer", []) if isinstance(one, dict)]
    found = {str(one["reference"]): r for one in named if one.get("reference") and (r := lookup.find(one["reference"]))}
    slugs = reading.organizations(named, found)
    return slugs[0] if slugs and work.organization not in slugs else ""


def refer(house: House, work: Work, request: Json, *, hospital: str, lookup: Lookup) -> None:
    """Keep the referral's Task and promise the order to the hospital; raises RuleBroken with all against it."""
    day = exact.instant(work.now)[:10]
    order = accept_order.understood(request, lookup, catalogue_of(house, work))
    held = [a for a in work.agreements() if a.hospital == hospital and a.clinic == work.organization]
    agreed = next((a for a in held if a.holds(day)), None)
    if agreed is None:
        raise RuleBroken(Fault("business-rule", NONE, "ServiceRequest.performer"))
    faults = list(against(house, work, agreed, order, lookup=lookup, day=day))
    if faults:
        raise RuleBroken(*faults)
    number, now = f"{agreed.id}.{order.id}", exact.instant(work.now)
    own = organization_of(house, work)
    task = writing.task(
        new_id(),
        number=number,
        order=f"ServiceRequest/{order.id}",
        animal=f"Patient/{order.animal.id}",
        agreement=agreed.id,
        hospital=hospital,
        clinic=name_of(own or {}) or work.organization,
        now=now,
        state="sent",
    )
    write(work, [task])
    told = [*([own] if own else []), *about(house, work, request, lookup), request]
    referral_sending.post(
        house, work, agreed.id, told, names={}, event="referred", number=number, key=f"{number}:referred:1"
    )


def against(house: House, work: View, agreed: Agreement, order: Order, *, lookup: Lookup, day: str) -> Iterator[Fault]:
    """What the agreement has against an order: its service, or a consent that is missing."""
    if not agreed.covers(order.service.key):
        text = f"The agreement is about {', '.join(agreed.services)}; not about {order.service.key}."
        yield Fault("business-rule", text, "ServiceRequest.code")
    given = consents_of(house, work, f"Patient/{order.animal.id}", lookup)
    if agreed.consent and not reading.consents(given, day=day):
        text = (
            "The agreement asks for the owner's consent, and none is here: send a Consent (status active, scope "
            "patient-privacy) for the animal, before the order or with it."
        )
        yield Fault("business-rule", text, "ServiceRequest.subject")


def about(house: House, work: View, request: Json, lookup: Lookup) -> list[Json]:
    """What travels with an order: who asks, the animal, its owners, what they consented to."""
    animal = str(request["subject"]["reference"])
    patient = lookup.find(animal)
    return [
        *referral_sending.asking(lookup, request),
        *([patient] if patient else []),
        *owners_of(house, work, animal, lookup),
        *consents_of(house, work, animal, lookup),
    ]


def owners_of(house: House, view: View, animal: str, lookup: Lookup) -> list[Json]:
    """The animal's people, those that this transaction writes among them."""
    return _of(house, view, "RelatedPerson", animal, lookup)


def consents_of(house: House, view: View, animal: str, lookup: Lookup) -> list[Json]:
    """The Consents for an animal, those that this transaction writes among them."""
    return _of(house, view, "Consent", animal, lookup)


def _of(house: House, view: View, type_: str, animal: str, lookup: Lookup) -> list[Json]:
    known = {f"{type_}/{one['id']}": one for one in all_of(house, view, type_, patient=animal)}
    new = {ref: one for ref, one in lookup.written.items() if ref.startswith(f"{type_}/")}
    merged = {**known, **new}
    return [one for one in merged.values() if one.get("patient", {}).get("reference") == animal]
