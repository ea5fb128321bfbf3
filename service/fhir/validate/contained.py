"""A resource with others inside it -> faults of their ids, their links and what they may not hold (dom-2 to dom-5)."""

from collections.abc import Iterator
from typing import Any

from service.basics.errors import Fault
from service.fhir.validate.places import fhirpath
from service.fhir.validate.walk import walk


def broken(resource: dict[str, Any]) -> list[Fault]:
    """Every such fault of one resource; [] when nothing is contained and nothing is referred to by #."""
    kind = resource["resourceType"]
    given = resource.get("contained")
    inner = [one for one in given if isinstance(one, dict)] if isinstance(given, list) else []
    faults = [fault for at, one in enumerate(inner) for fault in _of_one(one, f"{kind}.contained[{at}]")]
    ids = {one["id"] for one in inner if isinstance(one.get("id"), str)}
    outside, between = _links(resource), [_links(one) for one in inner if "resourceType" in one]
    for place, target in (*outside, *(link for links in between for link in links)):
        if target and target not in ids:
            faults.append(Fault("invariant", f"ref-1: nothing contained here has the id {target[:64]}", place))
    reached = {target for _, target in outside} | {target for links in between for _, target in links}
    for at, one in enumerate(inner):
        if one.get("id") not in reached and not _points_up(one):
            faults.append(Fault("invariant", "dom-3: nothing refers to this resource", f"{kind}.contained[{at}]"))
    return faults


def _of_one(one: dict[str, Any], place: str) -> Iterator[Fault]:
    meta = one.get("meta")
    meta = meta if isinstance(meta, dict) else {}
    if "id" not in one:
        yield Fault("required", "a contained resource needs an id", f"{place}.id")
    if "contained" in one:
        yield Fault("invariant", "dom-2: a contained resource contains no other", f"{place}.contained")
    if "versionId" in meta or "lastUpdated" in meta:
        yield Fault("invariant", "dom-4: a contained resource has no version", f"{place}.meta")
    if "security" in meta:
        yield Fault("invariant", "dom-5: a contained resource has no security label", f"{place}.meta")


def _links(resource: dict[str, Any]) -> list[tuple[str, str]]:
    """(place, id) of everything that refers to a contained resource; the id is "" for the holder itself."""
    return [
        (fhirpath(kind, (*path, name)), text[1:])
        for kind, path, value in walk(resource)
        for name, item in value.items()
        for text in (item if isinstance(item, list) else [item])
        if isinstance(text, str) and text.startswith("#") and _refers(name)
    ]


def _refers(name: str) -> bool:
    """Whether an element of this name can hold a reference, canonical or uri."""
    return name in ("reference", "url") or name.endswith(
        ("Uri", "Url", "Canonical", "profile", "instantiates", "topic")
    )


def _points_up(one: dict[str, Any]) -> bool:
    return any(target == "" for _, target in _links(one)) if "resourceType" in one else True
