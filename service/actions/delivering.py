"""What happened to an exam into finished posts: one transaction Bundle per destination, its bytes fixed now."""

from collections.abc import Iterable, Sequence
from typing import Any

from service.actions.case import Case
from service.actions.lookup import Lookup
from service.actions.ports import House, Work
from service.basics.ids import new_id
from service.basics.stored import Post
from service.fhir import exact
from service.fhir.reading.lesion import body_structure, is_lesion
from service.fhir.writing.delivery import bundle

Json = dict[str, Any]


def promise(house: House, work: Work, case: Case, event: str, resources: Sequence[Json], *, number: int = 1) -> int:
    """Post an event of an exam to every destination of the organisation, within the open transaction.

    number tells repeated events (amendments) apart. Returns how many posts were promised."""
    key = f"{case.exam.id}:{event}:{number}"
    lookup = Lookup(work)
    ours = [*([case.organization] if case.organization else []), *lesions(lookup, resources), *resources]
    whole = bundle(ours, theirs=owned_there(case, lookup), now=work.now, base=house.base, identifier=key)
    body = exact.encode(whole)
    posts = [Post(new_id(), name, key, case.exam.id, event, body) for name in work.destinations()]
    work.post(posts)
    return len(posts)


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
