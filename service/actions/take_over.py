"""What one organisation hands over to another of this very service: checked against their agreement, done once."""

from dataclasses import dataclass
from typing import Any

from service.actions import referral_urgent, transact
from service.actions.ports import Caller, House
from service.actions.writing import decoded, rewrite
from service.basics.agreement import REFERRAL, Agreement
from service.basics.errors import Fault, NotPermitted, Refusal
from service.fhir import exact, search
from service.fhir.reading import bundle
from service.fhir.reading import referral as reading
from service.fhir.writing import referral as writing

Json = dict[str, Any]
ALL = ("system/*.cruds",)
REFERRED, REVOKED = "referred", "revoked"


@dataclass(frozen=True, slots=True)
class Handed:
    """One post: whose it is, its key, under which agreement, its event and its bytes."""

    organization: str
    key: str
    agreement: str
    event: str
    thread: str
    body: bytes


def take(house: House, given: Handed) -> str:
    """Do what the post asks at the other side of the agreement, once; in words what came of it. Raises Refusal.

    The hospital takes it as it takes any transaction; the clinic keeps what a hospital says as it was sent."""
    agreed = _agreed(house, given)
    receiver = agreed.clinic if given.organization == agreed.hospital else agreed.hospital
    kind = "practice" if receiver == agreed.hospital else "records"
    caller = Caller(receiver, kind, ALL, f"referral {agreed.id}", given.key, asked=ALL, agreement=agreed.id)
    whole = exact.decode(given.body)
    if whole.get("type") == "batch":
        return _operated(house, caller, whole)
    done = transact.transact(house, caller, bundle.entries(whole), once=f"{given.organization}:{given.key}")
    return f"{len(done)} entries taken over" if done else "taken over before"


def refused(house: House, given: Handed, refusal: Refusal) -> None:
    """Say on the clinic's own Task why the hospital did not take its order, or did not give it back."""
    if given.event not in {REFERRED, REVOKED}:
        return
    why = " ".join(fault.text for fault in refusal.faults)
    with house.books.begin(given.organization) as work:
        query = search.parse(work.organization, "Task", [("identifier", given.thread)], base=house.base)
        for stored in work.search(query).matches:
            task = decoded(stored)
            state = "rejected" if given.event == REFERRED else reading.state(task)
            if reading.kind(task) == REFERRAL and (given.event == REVOKED or reading.state(task) == "sent"):
                rewrite(work, [writing.moved(task, state, now=exact.instant(work.now), reason=why)])


def _agreed(house: House, given: Handed) -> Agreement:
    with house.books.view(given.organization) as view:
        found = next((a for a in view.agreements() if a.id == given.agreement and a.clinic), None)
    if found is None:
        raise NotPermitted(Fault("forbidden", "There is no agreement by that name between organisations here."))
    return found


def _operated(house: House, caller: Caller, whole: Json) -> str:
    for one in whole["entry"]:
        _, task, name = str(one["request"]["url"]).split("/")
        referral_urgent.answers(house, caller, task)
        if name != f"${referral_urgent.ACKNOWLEDGE}":
            raise NotPermitted(Fault("forbidden", f"{name} is not for the other side of an agreement."))
        referral_urgent.acknowledge(house, caller, task, one["resource"])
    return "done"
