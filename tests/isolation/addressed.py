"""The OpenAPI description -> a case for every path and method, with ids that are another organisation's."""

from collections.abc import Callable, Iterator
from itertools import islice
from typing import Any

from tests.isolation import operated
from tests.isolation.cases import FORM, PATCH, Case, plain, text
from tests.isolation.world import House

Json = dict[str, Any]
LOOKS = ("", "?_summary=true", "?_summary=text", "?_summary=data", "?_summary=count", "?_elements=id", "?_pretty=true")
PLAIN = ("Composition", "AuditEvent")


class Addressed:
    """Fills the places of paths with what a house has. most: ids of each type; own: whose resources are changed."""

    def __init__(self, openapi: Json, house: House, definitions: dict[str, Json], *, most: int) -> None:
        self.openapi, self.house, self.definitions, self.most = openapi, house, definitions, most

    def cases(self) -> Iterator[Case]:
        """One case or more for each method of each path."""
        for path, methods in self.openapi["paths"].items():
            for method in methods:
                yield from self._of(path, method.upper())

    def _of(self, path: str, method: str) -> Iterator[Case]:
        covers = (f"{method} {path}",)
        if not path.startswith("/fhir") or path in ELSEWHERE:
            yield from (Case(m, p, covers, b, h, moves=True) for m, p, b, h in self._probes(path, method))
            return
        for filled, type_, resource in self._filled(path, method):
            for case in self._asked(path, method, filled, type_, resource):
                yield Case(case.method, case.path, covers, case.body, case.headers, case.moves or type_ == "AuditEvent")

    def _probes(self, path: str, method: str) -> Iterator[tuple[str, str, str, tuple[tuple[str, str], ...]]]:
        token = next(one for one in self.house.canaries.secrets if len(one) == 43)
        form = f"token={token}&grant_type=client_credentials&client_assertion={token}&client_id={self.house.slug}"
        path = path.replace("{organization}", self.house.slug).replace("{sender}", "records")
        if path.startswith("/webhooks"):
            signed = (("webhook-id", "m-1"), ("webhook-timestamp", "1795636366"), ("webhook-signature", "v1,AAAA"))
            yield method, path, plain({"type": "x", "data": {}}), (("Content-Type", "application/json"), *signed)
            return
        yield (method, path, form, FORM) if method == "POST" else (method, path, "", ())

    def _filled(self, path: str, method: str) -> Iterator[tuple[str, str, Json]]:
        """(path, type, a resource of the other's) for each way to fill the places of a path."""
        types = self._types(path, method)
        if not types:
            yield path, "", next(iter(self.house.resources["Patient"]))
        for type_ in types:
            kept = self.house.resources.get(type_) or [{"resourceType": type_, "id": self._any()}]
            for resource in islice(kept, self.most if "{id}" in path else 1):
                for within in WITHIN if "{within}" in path else ("",):
                    holder = next(iter(self.house.resources.get(within, [{"id": ""}])))
                    id_ = holder["id"] if within else resource["id"]
                    filled = path.replace("{within}", within).replace("{type}", type_).replace("{id}", id_)
                    yield filled.replace("{version}", "1"), type_, resource

    def _types(self, path: str, method: str) -> list[str]:
        named = path.split("/")[2] if path.count("/") > 1 else ""
        if "{type}" not in path:
            return [named] if named[:1].isupper() else []
        parameters = self.openapi["paths"][path][method.lower()]["parameters"]
        schema = next(p["schema"] for p in parameters if p["name"] == "type")
        if "$ref" in schema:
            schema = self.openapi["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
        return list(schema["enum"])

    def _any(self) -> str:
        return str(self.house.resources["Patient"][0]["id"])

    def _asked(self, path: str, method: str, filled: str, type_: str, resource: Json) -> Iterator[Case]:
        if "$" in path:
            yield from operated.cases(self.definitions, self.house, filled, method=method, resource=resource)
            return
        make: Callable[[str, str, Json], Iterator[Case]] = MAKERS[method, _shape(path)]
        yield from make(filled, type_, resource)


def _shape(path: str) -> str:
    """A path with its type left open."""
    parts = path.split("/")
    return "/".join("{type}" if n == 2 and part[:1].isupper() else part for n, part in enumerate(parts))


def _looks(filled: str, _type: str, resource: Json) -> Iterator[Case]:
    version = resource.get("meta", {}).get("versionId", "1")
    yield from (Case("GET", filled + look) for look in LOOKS)
    yield Case("HEAD", filled)
    yield Case("GET", filled, headers=(("If-None-Match", f'W/"{version}"'),))
    yield Case("GET", filled, headers=(("If-Modified-Since", "Wed, 21 Oct 2037 07:28:00 GMT"),))


def _history(filled: str, type_: str, _: Json) -> Iterator[Case]:
    yield from (Case("GET", filled + more) for more in ("", "?_count=1", "?_since=2020-01-01T00:00:00Z", "?_at=2026"))
    yield Case("HEAD", filled)


def _posted_search(filled: str, _type: str, resource: Json) -> Iterator[Case]:
    for form in (f"_id={resource['id']}", "_count=3&_sort=-_lastUpdated", f"_id={resource['id']}&_type=Patient"):
        yield Case("POST", filled, body=form, headers=FORM)


def _searched(filled: str, _type: str, resource: Json) -> Iterator[Case]:
    yield from (Case("GET", filled + more) for more in ("", f"?_id={resource['id']}", "?_type=Patient,Task&_count=3"))


def _created(filled: str, type_: str, resource: Json) -> Iterator[Case]:
    yield Case("POST", filled, body=text(resource))
    for condition in (f"_id={resource['id']}", *_identified(resource)):
        yield Case("POST", filled, body=text(resource), headers=(("If-None-Exist", condition),))


def _updated(filled: str, type_: str, resource: Json) -> Iterator[Case]:
    match = (("If-Match", f'W/"{resource.get("meta", {}).get("versionId", "1")}"'),)
    if filled.endswith(str(resource["id"])):
        yield Case("PUT", filled, body=text(resource))
        yield Case("PUT", filled, body=text(resource), headers=match)
        yield Case("PUT", filled, body=text(resource), headers=(("If-None-Match", "*"),))
        return
    for condition in (f"_id={resource['id']}", *_identified(resource)):
        yield Case("PUT", f"{filled}?{condition}", body=text(resource))
        yield Case("PUT", f"{filled}?{condition}", body=text(resource), headers=match)


def _patched(filled: str, type_: str, resource: Json) -> Iterator[Case]:
    match = ("If-Match", f'W/"{resource.get("meta", {}).get("versionId", "1")}"')
    body = plain([{"op": "add", "path": "/language", "value": "en"}])
    ways = [filled] if filled.endswith(str(resource["id"])) else [f"{filled}?{c}" for c in _identified(resource)]
    for way in ways or [f"{filled}?_id={resource['id']}"]:
        yield Case("PATCH", way, body=body, headers=(*PATCH, match))
        yield Case("PATCH", way, body=body, headers=PATCH)


def _deleted(filled: str, type_: str, resource: Json) -> Iterator[Case]:
    ways = [filled] if filled.endswith(str(resource["id"])) else [f"{filled}?{c}" for c in _identified(resource)]
    for way in ways or [f"{filled}?_id={resource['id']}"]:
        yield Case("DELETE", way)
        yield Case("DELETE", way, headers=(("If-Match", 'W/"1"'),))


def _identified(resource: Json) -> list[str]:
    given = resource.get("identifier", [])
    listed = given if isinstance(given, list) else [given]
    return [f"identifier={one.get('system', '')}|{one['value']}" for one in listed if "value" in one]


def _bundles(filled: str, _type: str, resource: Json) -> Iterator[Case]:
    """Bundles have cases of their own (tests/isolation/bundled.py); this one only reads."""
    entry = {"request": {"method": "GET", "url": f"Patient/{resource['id']}"}}
    for kind in ("batch", "transaction"):
        yield Case("POST", filled, body=plain({"resourceType": "Bundle", "type": kind, "entry": [entry]}))


WITHIN = ("Device", "Encounter", "Patient", "Practitioner", "RelatedPerson")
ELSEWHERE = frozenset(
    {"/fhir/metadata", "/fhir/.well-known/smart-configuration", "/fhir/oauth/token", "/fhir/oauth/introspect"}
    | {"/fhir/oauth/revoke", "/fhir/.well-known/jwks/{organization}.json"}
)
MAKERS: dict[tuple[str, str], Callable[[str, str, Json], Iterator[Case]]] = {
    ("GET", "/fhir"): _searched,
    ("POST", "/fhir"): _bundles,
    ("POST", "/fhir/_search"): _posted_search,
    ("GET", "/fhir/_history"): _history,
    ("GET", "/fhir/{type}"): _searched,
    ("POST", "/fhir/{type}"): _created,
    ("PUT", "/fhir/{type}"): _updated,
    ("PATCH", "/fhir/{type}"): _patched,
    ("DELETE", "/fhir/{type}"): _deleted,
    ("POST", "/fhir/{type}/_search"): _posted_search,
    ("GET", "/fhir/{within}/{id}/{type}"): _searched,
    ("POST", "/fhir/{within}/{id}/{type}/_search"): _posted_search,
    ("GET", "/fhir/{type}/_history"): _history,
    ("GET", "/fhir/{type}/{id}"): _looks,
    ("PUT", "/fhir/{type}/{id}"): _updated,
    ("PATCH", "/fhir/{type}/{id}"): _patched,
    ("DELETE", "/fhir/{type}/{id}"): _deleted,
    ("GET", "/fhir/{type}/{id}/_history"): _history,
    ("GET", "/fhir/{type}/{id}/_history/{version}"): _looks,
}
"""A path without a maker here fails the suite: whoever offers something new says how it is attacked."""
