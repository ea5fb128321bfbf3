"""A resource with others inside it -> faults of their ids, their links and what they may not hold (dom-2 to dom-5)."""

from collections.abc import Iterator
from typing import Any, NamedTuple

from service.basics.errors import Fault
from service.fhir.validate.places import Step, fhirpath
from service.fhir.validate.walk import walk


class Link(NamedTuple):
    """A text that begins with #: where it stands, and the id; "" is the holder itself."""

    kind: str
    path: tuple[Step, ...]
    name: str
    id: str


def broken(resource: dict[str, Any]) -> Iterator[Fault]:
    """Every such fault of a resource that is not itself contained."""
    inner = _inner(resource.get("contained"))
    ids = {str(one.get("id")) for _, one in inner}
    yield from _dangling(resource, ids)
    reached = {link.id for holder in (resource, *(one for _, one in inner)) for link in _links(holder)} if inner else ()
    for at, one in inner:
        place = f"{resource['resourceType']}.contained[{at}]"
        yield from _of_one(one, place)
        yield from (fault.inside(place) for fault in _dangling(one, ids))
        if str(one.get("id")) not in reached and not any(link.id == "" for link in _links(one)):
            yield Fault("invariant", "dom-3: nothing refers to this resource", place)


def _inner(given: Any) -> list[tuple[int, dict[str, Any]]]:
    items = [(at, one) for at, one in enumerate(given if isinstance(given, list) else []) if isinstance(one, dict)]
    return [(at, one) for at, one in items if isinstance(one.get("resourceType"), str)]


def _dangling(resource: dict[str, Any], ids: set[str]) -> Iterator[Fault]:
    for link in _links(resource):
        if link.name == "reference" and link.id and link.id not in ids:
            yield Fault(
                "invariant",
                f"ref-1: nothing contained here has the id {link.id[:64]}",
                fhirpath(link.kind, (*link.path, link.name)),
            )


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


def _links(resource: dict[str, Any]) -> Iterator[Link]:
    kind = str(resource["resourceType"])
    for path, value in walk(resource):
        for name, item in value.items():
            for text in item if isinstance(item, list) else [item]:
                if isinstance(text, str) and text.startswith("#"):
                    yield Link(kind, tuple(path), name, text[1:])
