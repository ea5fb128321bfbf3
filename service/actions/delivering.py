"""What happened to an exam into finished posts, one for each destination that wants any of it, its bytes fixed now."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from service.actions import referral_told
from service.actions.case import Case
from service.actions.document_post import document_of
from service.actions.lookup import Lookup
from service.actions.ports import House, Work
from service.basics import destination
from service.basics.destination import FORMATS, Terms
from service.basics.ids import new_id
from service.basics.stored import Post
from service.fhir import exact
from service.fhir.reading.lesion import body_structure, is_lesion
from service.fhir.writing import message
from service.fhir.writing.delivery import bundle
from service.fhir.writing.tailoring import tailored

Json = dict[str, Any]
Kind = tuple[str, frozenset[str], frozenset[str], str]


def promise(
    house: House,
    work: Work,
    case: Case,
    event: str,
    resources: Sequence[Json],
    *,
    number: int | str = 1,
    share: str = "",
) -> int:
    """Post an event of an exam to the destinations of the organisation that want it, within the open transaction.

    number tells repeated events (amendments) apart; share: all of it, and only for those that asked for that share.
    Returns how many posts were promised."""
    telling = Telling(house, work, case, event, resources, f"{case.exam.id}:{event}:{number}", share)
    posts = []
    for name, text in work.routes():
        terms = destination.read(text)
        body = None if terms.agreement else telling.body(terms)
        if body is not None:
            posts.append(Post(new_id(), name, telling.key, case.exam.id, event, body, terms.family))
    posts += referral_told.posts(house, work, case, event, resources, key=telling.key, urgent=bool(share))
    work.post(posts)
    return len(posts)


@dataclass(slots=True)
class Telling:
    """One event and its bytes for each kind of destination, made once a kind."""

    house: House
    work: Work
    case: Case
    event: str
    resources: Sequence[Json]
    key: str
    share: str
    made: dict[Kind, bytes | None] = field(default_factory=dict)

    def body(self, terms: Terms) -> bytes | None:
        """What a destination with these terms is sent; None when nothing of the event is for it."""
        kind = (terms.family, frozenset(terms.sends), frozenset(terms.formats), terms.zone)
        if kind not in self.made:
            whole = self._whole(terms)
            self.made[kind] = exact.encode(whole) if whole else None
        return self.made[kind]

    def _whole(self, terms: Terms) -> Json | None:
        wanted = self._wanted(terms)
        if not wanted:
            return None
        if terms.family == "document":
            return document_of(self.house, self.work, wanted, terms=terms)
        return self._told(self._fitting(wanted, terms), terms)

    def _wanted(self, terms: Terms) -> Sequence[Json]:
        if self.share:
            return self.resources if self.share in terms.sends else ()
        return [one for one in self.resources if terms.wants(one["resourceType"])]

    def _fitting(self, wanted: Sequence[Json], terms: Terms) -> list[Json]:
        """With the practice and the lesions that are spoken of, each as the destination wants it."""
        practice = [self.case.organization] if self.case.organization else []
        ours = [*practice, *lesions(Lookup(self.work), wanted), *wanted]
        if not terms.zone and len(terms.formats) == len(FORMATS):
            return ours
        return [tailored(one, formats=terms.formats, zone=terms.zone) for one in ours]

    def _told(self, ours: Sequence[Json], terms: Terms) -> Json:
        theirs = list(owned_there(self.case, Lookup(self.work)))
        now, base = self.work.now, self.house.base
        if terms.family == "transaction":
            return bundle(ours, theirs=theirs, now=now, base=base, identifier=self.key)
        if terms.family == "message":
            header = {"event": self.event, "identifier": self.key}
            return message.message(ours, theirs=theirs, now=now, base=base, **header)
        whole = message.collection(ours, theirs=theirs, now=now, base=base, identifier=self.key)
        return message.webhook(whole, event=self.event, now=now)


def lesions(lookup: Lookup, resources: Iterable[Json]) -> Iterable[Json]:
    """The BodyStructures of the focal lesions that records among the resources are of, each once."""
    records = (r for r in resources if r["resourceType"] == "Observation" and is_lesion(r))
    for id_ in dict.fromkeys(body_structure(r) for r in records):
        found = lookup.find(f"BodyStructure/{id_}") if id_ else None
        if found is not None:
            yield found


def owned_there(case: Case, lookup: Lookup) -> Iterable[Json]:
    """What the record system owns of a case: the order, the animal, its owners and whoever asked."""
    yield case.request
    yield case.patient
    yield from case.owners
    requester = lookup.find(case.order.requester) if case.order.requester else None
    if requester is not None:
        yield requester
        for name in ("practitioner", "organization"):
            behind = lookup.find(str(requester.get(name, {}).get("reference", "")))
            if behind is not None:
                yield behind
