"""References whose target's type can be told from what stands there -> those that lead to a type not allowed."""

import re
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import lru_cache
from itertools import islice
from typing import Any, TypeGuard

from service.basics.errors import Fault
from service.fhir.validate.compiled import definitions, types
from service.fhir.validate.places import Step, fhirpath

Path = tuple[Any, ...]  # linked: (path of the holder, step), () at the root

_URN = "urn:"
_TELLING = ("#", "http")  # how references begin that tell by themselves what they lead to

# R4 knows the type of an absolute reference by its last steps: .../[type]/[id], with a version or without
_RESTFUL = re.compile(r"https?://.+/([A-Z][A-Za-z]+)/[A-Za-z0-9\-.]{1,64}(?:/_history/[A-Za-z0-9\-.]{1,64})?")


def misled(resource: dict[str, Any], text: bytes) -> Iterator[Fault]:
    """References of a resource, and of those it contains, to one contained or on another server, of a wrong type.

    text is the JSON of the resource."""
    if b'"reference":"#' not in text and b'"reference":"http' not in text:
        return
    kind = resource["resourceType"]
    given = resource.get("contained")
    inner = [(at, one) for at, one in enumerate(given if isinstance(given, list) else []) if is_resource(one)]
    held = {f"#{one.get('id')}": str(one["resourceType"]) for _, one in inner} | {"#": kind}

    def led(to: str) -> str:
        restful = _RESTFUL.fullmatch(to)
        return restful[1] if restful else held.get(to, "")

    yield from _wrong(resource, led, _references(resource, _TELLING))
    for at, one in inner:
        faults = _wrong(one, led, _references(one, _TELLING))
        yield from (fault.inside(f"{kind}.contained[{at}]") for fault in faults)


def full_urls(bundle: dict[str, Any]) -> dict[str, str]:
    """fullUrl -> type of what an entry of the Bundle carries, for those that only the Bundle knows (urn:...)."""
    given = bundle.get("entry")
    entries = [entry for entry in given if isinstance(entry, dict)] if isinstance(given, list) else []
    named = [(entry.get("fullUrl"), entry.get("resource")) for entry in entries]
    return {
        url: str(held["resourceType"])
        for url, held in named
        if isinstance(url, str) and url.startswith(_URN) and is_resource(held)
    }


def between(resource: dict[str, Any], text: bytes, held: Mapping[str, str]) -> Iterator[Fault]:
    """References of a resource in a Bundle to the fullUrl of another, of a wrong type. text: its JSON."""
    many = text.count(b'"reference":"urn:') if held else 0
    if many:
        yield from _wrong(resource, lambda to: held.get(to, ""), islice(_references(resource, _URN), many))


def is_resource(value: Any) -> TypeGuard[dict[str, Any]]:
    """Whether there is something to look at; where not, the schema of the holder has told."""
    return isinstance(value, dict) and isinstance(value.get("resourceType"), str)


def _wrong(
    resource: dict[str, Any], led: Callable[[str], str], found: Iterable[tuple[tuple[Step, ...], str]]
) -> Iterator[Fault]:
    kind = resource["resourceType"]
    for path, to in found:
        type_ = led(to)
        if type_ in types():
            targets = _targets(kind, tuple(step for step in path if isinstance(step, str)))
            if targets and type_ not in targets:
                words = f"a reference here leads to {', '.join(targets)}; this one leads to a {type_}"
                yield Fault("value", words, fhirpath(kind, (*path, "reference")))


def _references(resource: dict[str, Any], starts: str | tuple[str, ...]) -> Iterator[tuple[tuple[Step, ...], str]]:
    """(path, text) of every Reference whose text starts so, the nearest first; a path is made where one is found."""
    todo: deque[tuple[Path, Any]] = deque([((), resource)])
    while todo:
        path, value = todo.popleft()
        if isinstance(value, list):
            todo += [((path, at), one) for at, one in enumerate(value) if isinstance(one, dict)]
            continue
        text = value.get("reference")
        if isinstance(text, str) and text.startswith(starts):
            yield _flat(path), text
        if not (path and "resourceType" in value):
            todo += [((path, name), one) for name, one in value.items() if isinstance(one, dict | list)]


def _flat(path: Path) -> tuple[Step, ...]:
    steps: list[Step] = []
    while path:
        path, step = path
        steps.append(step)
    return tuple(reversed(steps))


@lru_cache(maxsize=1024)
def _targets(kind: str, names: tuple[str, ...]) -> tuple[str, ...]:
    """The types that the reference at a path may lead to; () when any, or when R4 has no reference there."""
    at = kind
    for name in names:
        node = definitions().get(at, {}).get("properties", {}).get(name, {})
        node = node.get("items", node)
        at = str(node.get("$ref", "")).rpartition("/")[2]
    return tuple(definitions().get(at, {}).get("targets", ()))
