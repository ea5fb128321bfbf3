"""What a record system answers to a search or a write, into the resources it has and what it calls them."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import unquote

from service.basics.errors import Refusal
from service.courier.answer import Answer
from service.fhir import exact

Json = dict[str, Any]
_ID = r"[A-Za-z0-9\-.]{1,64}"
_PLACE = re.compile(rf"(?:^|/)(?P<type>[A-Z][A-Za-z]+)/(?P<id>{_ID})(?:/_history/(?P<version>{_ID}))?/?$")
_SPLIT = re.compile(r"(?<!\\)\|")


@dataclass(frozen=True, slots=True)
class There:
    """One resource of the record system: "Type/id", and what If-Match would have to say ("" when it is not told)."""

    name: str
    version: str = ""
    resource: Json = field(default_factory=dict, compare=False, repr=False)


def content(answer: Answer) -> Json | None:
    """The resource that an answer is, or None when it holds none that can be read."""
    value = json_object(answer)
    return value if value is not None and isinstance(value.get("resourceType"), str) else None


def json_object(answer: Answer) -> Json | None:
    """The JSON object that an answer is, or None when it is none that can be read."""
    if answer.encoding or not answer.whole or not answer.body.strip():
        return None
    try:
        value = exact.decode(answer.body)
    except Refusal:
        return None
    return value if isinstance(value, dict) else None


def matches(answer: Answer, sought: str) -> list[There] | None:
    """The resources of a searchset that really bear what was sought; None when it can't be believed.

    A server that doesn't know a parameter may answer with everything it has: nothing of that is a match."""
    bundle = content(answer)
    if bundle is None or bundle.get("resourceType") != "Bundle":
        return None
    type_, _, criteria = sought.partition("?")
    found = [one for one in _matched(bundle) if one.get("resourceType") == type_ and isinstance(one.get("id"), str)]
    if not all(bears(one, criteria) for one in found):
        return None
    return [There(f"{type_}/{one['id']}", version_of(one), one) for one in found]


def _matched(bundle: Json) -> Iterator[Json]:
    for entry in bundle.get("entry", []):
        mode = entry.get("search", {}).get("mode", "match") if isinstance(entry, dict) else "outcome"
        if mode == "match" and isinstance(entry.get("resource"), dict):
            yield entry["resource"]


def bears(resource: Json, criteria: str) -> bool:
    """Whether a resource bears the identifier (or tag) of "identifier=system|value" as we write it."""
    name, _, value = criteria.partition("=")
    system, code = ([*(part.replace("\\", "") for part in _SPLIT.split(unquote(value), maxsplit=1)), ""])[:2]
    if name == "_tag":
        given = resource.get("meta", {}).get("tag", [])
        return any(one.get("system") == system and one.get("code") == code for one in given)
    identifiers = resource.get("identifier", [])
    many = identifiers if isinstance(identifiers, list) else [identifiers]
    return any(one.get("system") == system and one.get("value") == code for one in many)


def written(answer: Answer, type_: str) -> There | None:
    """What a write answers of the resource's new name: by Location, absolute or relative, or by what it sends back."""
    place = located(answer.location, type_)
    if place is not None:
        return place
    back = content(answer)
    if back is not None and back["resourceType"] == type_ and isinstance(back.get("id"), str):
        return There(f"{type_}/{back['id']}", version_of(back), back)
    return None


def located(location: str, type_: str) -> There | None:
    """The resource that a Location leads to ("Observation/7", "/fhir/Observation/7/_history/2", "7", ...)."""
    path = location.partition("?")[0].partition("#")[0]
    found = _PLACE.search(path)
    if found and found["type"] == type_:
        return There(f"{type_}/{found['id']}", f'W/"{found["version"]}"' if found["version"] else "")
    return There(f"{type_}/{path}") if re.fullmatch(_ID, path) else None


def version_of(resource: Json) -> str:
    """What If-Match says for the version of a resource as it was read."""
    version = resource.get("meta", {}).get("versionId")
    return f'W/"{version}"' if isinstance(version, str) and version else ""


def same(sent: Any, there: Any) -> bool:
    """Whether all that was sent is there, but for what a server may write anew: references, meta and narrative."""
    if isinstance(sent, dict):
        left = {k: v for k, v in sent.items() if k not in {"reference", "meta", "text", "id", "fullUrl"}}
        return isinstance(there, dict) and all(k in there and same(v, there[k]) for k, v in left.items())
    if isinstance(sent, list):
        fits = isinstance(there, list) and len(there) >= len(sent)
        return fits and all(same(one, other) for one, other in zip(sent, there, strict=False))
    return bool(sent == there)
