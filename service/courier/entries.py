"""The bytes of a promised transaction into its entries, in an order in which each can be written by itself."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.fhir import exact, uris

Json = dict[str, Any]
URN = "urn:uuid:"


@dataclass(frozen=True, slots=True)
class Entry:
    """One resource to be written where `sought` finds it ("Type?identifier=..."); once: left alone when it is there.

    needs: the references in it that only mean something inside the transaction (urn:uuid and conditional ones)."""

    number: int
    url: str
    sought: str
    once: bool
    resource: Json
    needs: frozenset[str]

    @property
    def type(self) -> str:
        """Its resource type."""
        return str(self.resource["resourceType"])


def entries(body: bytes) -> list[Entry]:
    """The entries of a transaction that we made, in its own order."""
    return [_entry(n, one) for n, one in enumerate(exact.trusted(body).get("entry", []))]


def _entry(number: int, given: Json) -> Entry:
    request, resource = given["request"], given["resource"]
    once = request["method"] == "POST"
    sought = f"{request['url']}?{request['ifNoneExist']}" if once else request["url"]
    needs = frozenset(target for one in _references(resource) if (target := str(one.get("reference", ""))))
    inside = frozenset(target for target in needs if target.startswith(URN) or is_conditional(target))
    return Entry(number, str(given.get("fullUrl", "")), sought, once, resource, inside)


def is_conditional(reference: str) -> bool:
    """Whether a reference is a search that is to find one resource."""
    return "?" in reference and ":" not in reference.partition("?")[0]


def waves(given: Sequence[Entry]) -> list[list[Entry]]:
    """The entries in waves, each naming only what an earlier wave wrote.

    Where they name each other in a circle one goes ahead without it, and is written again at the end."""
    urls, done = {one.url for one in given}, set[str]()
    left, found, again = list(given), list[list[Entry]](), list[Entry]()
    while left:
        ready = [one for one in left if one.needs & urls <= done]
        if not ready:
            ready = left[:1]
            again += ready
        found.append(ready)
        done |= {one.url for one in ready}
        left = [one for one in left if one.url not in done]
    return [*found, again] if again else found


def resolved(resource: Json, names: Mapping[str, str]) -> Json:
    """The resource with what is known by another name there called by it; names: ours -> "Type/id" of theirs.

    What belongs to the transaction and has no name yet becomes a logical reference or is left out of it."""
    return {key: _resolved(value, names) for key, value in resource.items()}


def _resolved(value: Any, names: Mapping[str, str]) -> Any:
    if isinstance(value, list):
        return [_resolved(one, names) for one in value]
    if not isinstance(value, dict):
        return value
    named = _named(value, names) if "reference" in value or "identifier" in value else value
    return {key: _resolved(one, names) for key, one in named.items()}


def _named(given: Json, names: Mapping[str, str]) -> Json:
    target = given.get("reference")
    if target is None:
        return _recalled(given, names)
    if not isinstance(target, str):
        return given
    if target in names:
        return {**given, "reference": names[target]}
    if not target.startswith(URN):
        return given
    rest = {key: one for key, one in given.items() if key != "reference"}
    return {**rest, "identifier": {"system": uris.ID, "value": target.removeprefix(URN)}}


def _recalled(given: Json, names: Mapping[str, str]) -> Json:
    """A logical reference to something of ours that an earlier post brought there is made a literal one."""
    identifier, type_ = given["identifier"], given.get("type")
    if not isinstance(identifier, dict) or not isinstance(type_, str) or identifier.get("system") != uris.ID:
        return given
    there = names.get(own_name(type_, str(identifier.get("value"))))
    return {"reference": there, **given} if there else given


def own_name(type_: str, id_: str) -> str:
    """How a resource of ours is sought there."""
    return f"{type_}?identifier={uris.ID}|{id_}"


def recalled(given: Sequence[Entry]) -> set[str]:
    """What the entries name of ours that came, or will come, with another post."""
    found = (one for entry in given for one in _logical(entry.resource))
    return {own_name(one["type"], str(one["identifier"].get("value"))) for one in found}


def _logical(value: Any) -> Iterator[Json]:
    for one in _dicts(value):
        identifier = one.get("identifier")
        if isinstance(identifier, dict) and isinstance(one.get("type"), str) and identifier.get("system") == uris.ID:
            yield one


def _references(value: Any) -> Iterator[Json]:
    return (one for one in _dicts(value) if isinstance(one.get("reference"), str))


def _dicts(value: Any) -> Iterator[Json]:
    if isinstance(value, list):
        for one in value:
            yield from _dicts(one)
    elif isinstance(value, dict):
        yield value
        for one in value.values():
            yield from _dicts(one)
