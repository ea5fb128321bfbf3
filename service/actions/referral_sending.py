"""What one side of a referral tells the other, into a finished post; each thing is called as it is called there."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from service.actions.lookup import Lookup
from service.actions.ports import House, View, Work
from service.basics.agreement import IN_HOUSE, PREFIX
from service.basics.destination import read
from service.basics.ids import new_id
from service.basics.stored import Post
from service.fhir import exact, uris
from service.fhir.reading import referral as reading
from service.fhir.writing.delivery import bundle, conditional, reference_of

Json = dict[str, Any]
BEHIND = ("practitioner", "organization")


def way(view: View, id_: str) -> str:
    """The destination that leads to the other side of an agreement; "" when there is none or it is off."""
    return next((name for name, _ in view.routes() if name == f"{PREFIX}{id_}"), "")


def post(
    house: House,
    work: Work,
    id_: str,
    resources: Sequence[Json],
    *,
    names: Mapping[str, str],
    event: str,
    number: str,
    key: str,
) -> None:
    """Promise resources to the other side of an agreement, in the referral's own order; nothing where no way leads."""
    name = way(work, id_)
    if name:
        work.post([made(house, work, name, resources, names=names, event=event, number=number, key=key)])


def made(
    house: House,
    work: Work,
    name: str,
    resources: Sequence[Json],
    *,
    names: Mapping[str, str],
    event: str,
    number: str,
    key: str,
) -> Post:
    """The post of these resources to a destination; number: the referral's, which is the post's thread."""
    whole = bundle(resources, now=work.now, base=house.base, identifier=key, names=names)
    for one in whole["entry"]:
        known = reading.number(one["resource"]) if one["resource"]["resourceType"] == "Task" else ""
        if known:
            one["request"]["url"] = f"Task?identifier={uris.REFERRAL}|{known}"
    return Post(new_id(), name, key, number, event, exact.encode(whole), form(work, name))


def form(view: View, name: str) -> str:
    """How a post to a destination is carried."""
    terms = next((read(text) for known, text in view.routes() if known == name), read(""))
    return IN_HOUSE if terms.form == IN_HOUSE else terms.family


def names_there(lookup: Lookup, task: Json, request: Json, *, in_house: bool) -> dict[str, str]:
    """What the clinic calls the animal, the order and whoever asked; the hospital's own animal is called as theirs."""
    told = lookup.find(reading.told_as(task))
    found = [one for one in (told, request, *asking(lookup, request)) if one]
    names = {reference_of(one): called(one, in_house=in_house) for one in found}
    if told:
        names[str(request.get("subject", {}).get("reference", ""))] = names[reference_of(told)]
    return {ours: theirs for ours, theirs in names.items() if theirs}


def called(resource: Json, *, in_house: bool) -> str:
    """What a copy's own side calls it: by its id in house, by its own identifier elsewhere; "" when nothing tells."""
    if not in_house:
        return conditional(resource)
    id_ = reading.there(resource)
    return f"{resource['resourceType']}/{id_}" if id_ else ""


def asking(lookup: Lookup, request: Json) -> Iterable[Json]:
    """Whoever asked for an exam, and the person and organisation behind a role."""
    found = lookup.find(str(request.get("requester", {}).get("reference", "")))
    if found is None:
        return
    yield found
    for name in BEHIND:
        behind = lookup.find(str(found.get(name, {}).get("reference", "")))
        if behind is not None:
            yield behind
