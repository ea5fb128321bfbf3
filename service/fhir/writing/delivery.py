"""What an exam event leaves behind into the one transaction Bundle that a record system is sent."""

import re
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import quote

from service.fhir import exact, uris

Json = dict[str, Any]

# R4: types that have no identifier are known elsewhere by a tag, types that have one single identifier keep their own
UNIDENTIFIED = frozenset({"AuditEvent", "Binary", "OperationOutcome", "Parameters", "Provenance", "Subscription"})
SINGLE = frozenset({"Bundle", "Composition", "QuestionnaireResponse"})
_OURS = re.compile(r"(?P<type>[A-Z][A-Za-z]+)/(?P<id>[A-Za-z0-9\-.]{1,64})(/_history/[A-Za-z0-9\-.]{1,64})?")


_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_PLAIN = re.compile(r"[A-Za-z0-9\-.:/_]+")  # what neither a search nor a URL escapes


@dataclass(frozen=True, slots=True)
class _Names:
    """What each "Type/id" of ours is called in the Bundle; base: our own base URL, whose absolute links are ours."""

    sent: Mapping[str, str]
    base: str


def bundle(
    resources: Sequence[Json],
    *,
    theirs: Iterable[Json | None] = (),
    now: datetime,
    base: str = "",
    identifier: str = "",
    names: Mapping[str, str] | None = None,
) -> Json:
    """The transaction: `resources` are ours, put under our identifier; `theirs` are what the record system owns.

    Theirs (animal, owner, requester, order) are named by conditional reference, or sent once when they bear no
    identifier of their own.

    A reference to anything else of ours becomes a logical one (our identifier), for our ids mean nothing elsewhere.
    The same arguments give the same Bundle. identifier: value of Bundle.identifier, the post's key; names: what some
    references of ours are called there."""
    owned = {reference_of(r): r for r in theirs if r is not None}
    sent = {reference_of(r): full_url(r) for r in resources}
    named = {key: there for key, r in owned.items() if (there := conditional(r))}
    once = [r for key, r in owned.items() if key not in named and key not in sent]
    known = {**named, **{reference_of(r): full_url(r) for r in once}, **(names or {}), **sent}
    called = _Names(known, base.rstrip("/"))
    entries = [_entry(r, called, method="POST") for r in once]
    entries += [_entry(r, called, method="PUT") for r in resources]
    whole: Json = {"resourceType": "Bundle", "type": "transaction", "timestamp": exact.instant(now), "entry": entries}
    if identifier:
        return {"resourceType": "Bundle", "identifier": {"system": uris.ID, "value": identifier}, **whole}
    return whole


def reference_of(resource: Json) -> str:
    """The relative reference of a resource of ours."""
    return f"{resource['resourceType']}/{resource['id']}"


def conditional(resource: Json) -> str:
    """How whoever owns a resource finds it by its own identifier; "" when it bears none."""
    own = _business_identifier(resource)
    return f"{resource['resourceType']}?identifier={_token(*own)}" if own else ""


def full_url(resource: Json) -> str:
    """The urn:uuid of a resource: its id, or for an id that is no UUID one derived from type and id."""
    if _UUID.fullmatch(resource["id"]):
        return f"urn:uuid:{resource['id']}"
    return f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, f'{uris.BASE}/{reference_of(resource)}')}"


def _business_identifier(resource: Json) -> tuple[str, str] | None:
    """The first identifier with system and value, neither old nor ours; an order's placer number before others."""
    found = [i for i in _identifiers(resource) if i.get("system") and i.get("value") and i.get("use") != "old"]
    found = [i for i in found if i["system"] != uris.ID]
    placer = [i for i in found if any(c.get("code") == "PLAC" for c in i.get("type", {}).get("coding", []))]
    first = next(iter(placer or found), None)
    return (first["system"], first["value"]) if first else None


def _identifiers(resource: Json) -> list[Json]:
    given = resource.get("identifier", [])
    return given if isinstance(given, list) else [given]


def _criteria(resource: Json) -> str:
    """How a resource of ours is found again elsewhere."""
    if resource["resourceType"] in UNIDENTIFIED:
        return f"_tag={_token(uris.ID, resource['id'])}"
    own = _business_identifier(resource) if resource["resourceType"] in SINGLE else None
    return f"identifier={_token(*(own or (uris.ID, resource['id'])))}"


def _token(system: str, value: str) -> str:
    if _PLAIN.fullmatch(system) and _PLAIN.fullmatch(value):
        return f"{system}|{value}"
    parts = [re.sub(r"([\\,|$])", r"\\\1", part) for part in (system, value)]  # R4 search: , | $ and \ are escaped
    return "|".join(quote(part, safe=":/.-_~") for part in parts)


def _entry(resource: Json, names: _Names, *, method: str) -> Json:
    criteria, type_ = _criteria(resource), resource["resourceType"]
    request = {"method": "PUT", "url": f"{type_}?{criteria}"}
    if method == "POST":
        request = {"method": "POST", "url": type_, "ifNoneExist": criteria}
    body = _rewritten(_known_as_ours(resource), names)
    return {"fullUrl": full_url(resource), "resource": body, "request": request}


def _known_as_ours(resource: Json) -> Json:
    """The resource without our id and version, but with our identifier."""
    body = {k: v for k, v in resource.items() if k != "id"}
    meta = {k: v for k, v in resource.get("meta", {}).items() if k not in {"versionId", "lastUpdated"}}
    ours, type_ = {"system": uris.ID, "value": resource["id"]}, resource["resourceType"]
    if type_ in UNIDENTIFIED:
        meta["tag"] = [*meta.get("tag", []), {"system": uris.ID, "code": resource["id"]}]
    elif type_ not in SINGLE:
        body["identifier"] = [*_identifiers(resource), *([] if ours in _identifiers(resource) else [ours])]
    elif _business_identifier(resource) is None:
        body["identifier"] = ours
    body.pop("meta", None)
    return {"resourceType": type_, **({"meta": meta} if meta else {}), **body}


def _rewritten(value: Any, names: _Names) -> Any:
    """The same value where nothing in it refers to anything of ours: only what changes is copied."""
    if type(value) is list:
        if not any(type(one) is dict for one in value):
            return value
        return [_rewritten(one, names) for one in value]
    if type(value.get("reference")) is str:
        value = _reference(value, names)
    parts = {key: _rewritten(one, names) for key, one in value.items() if type(one) is dict or type(one) is list}
    return value | parts if parts else value


def _reference(given: Json, names: _Names) -> Json:
    target = given["reference"]
    if names.base and target.startswith(f"{names.base}/"):
        target = target[len(names.base) + 1 :]
    ours = _OURS.fullmatch(target)
    if ours is None:  # contained, a urn, conditional, or another server's: it means the same everywhere
        return given
    key = f"{ours['type']}/{ours['id']}"
    if key in names.sent:
        return {**given, "reference": names.sent[key]}
    rest = {k: v for k, v in given.items() if k != "reference"}
    return {"type": ours["type"], "identifier": {"system": uris.ID, "value": ours["id"]}, **rest}
