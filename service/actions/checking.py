"""The resources of entries against R4 and against our own rules, before anything is opened."""

from collections.abc import Iterable, Sequence
from typing import Any

from service.basics.entries import Entry
from service.basics.errors import Fault, Invalid, RuleBroken
from service.fhir import uris, validate

Json = dict[str, Any]
Draft = tuple[Entry, Json | None]


def checked(drafts: Iterable[Draft], *, practice: bool) -> list[Fault]:
    """Raise Invalid with every fault of every resource, RuleBroken when all that is wrong is that one was shortened.

    Returns what breaks only our own rules for practices, to be told together with what is wrong with the orders."""
    faults: list[Fault] = []
    ours: list[Fault] = []
    shortened: list[Fault] = []
    for entry, resource in drafts:
        if resource is None:
            continue
        found = _faults(entry, resource)
        faults += _placed(entry, found)
        shortened += _placed(entry, _shortened(resource))
        if practice and not found:
            ours += _placed(entry, validate.profile(resource))
    if faults:
        raise Invalid(*faults, *shortened, *ours)
    if shortened:
        raise RuleBroken(*shortened, *ours)
    return ours


def _placed(entry: Entry, faults: Iterable[Fault]) -> Sequence[Fault]:
    return [f.inside(f"{entry.place}.resource") if entry.place else f for f in faults]


def _faults(entry: Entry, resource: Json) -> list[Fault]:
    given = resource.get("resourceType")
    if given != entry.type:
        return [Fault("invalid", f"The body is a {given}, but the address says {entry.type}.", "resourceType")]
    if entry.method == "PUT" and entry.id and resource.get("id") != entry.id:
        text = f"The body's id must be {entry.id}, as in the address."
        return [Fault("invalid", text, f"{entry.type}.id")]
    return validate.check(resource)


def _shortened(resource: Json) -> list[Fault]:
    meta = resource.get("meta")
    tags = meta.get("tag") if isinstance(meta, dict) else None
    for tag in tags if isinstance(tags, list) else ():
        if isinstance(tag, dict) and (tag.get("system"), tag.get("code")) == (uris.SUBSETTED, "SUBSETTED"):
            text = "A shortened resource (SUBSETTED) cannot be stored."
            return [Fault("business-rule", text, f"{resource.get('resourceType')}.meta.tag")]
    return []
