"""Words of the checklist's tests: invented resources, Bundles of them, and what is in an answer."""

from typing import Any

import httpx

from tests.api.conftest import JSON

Json = dict[str, Any]
BASE = "http://sonoledger.example/fhir"
ORIGIN = "https://pages.example"
SYSTEM = "urn:invented"


def patient(value: str = "", **more: Any) -> Json:
    """An invented Patient, with an identifier when it has a value."""
    identifier = {"identifier": [{"system": SYSTEM, "value": value}]} if value else {}
    return {"resourceType": "Patient", **identifier, **more}


def observation(**more: Any) -> Json:
    """An invented Observation."""
    return {"resourceType": "Observation", "status": "final", "code": {"text": "an invented thing"}, **more}


def made(rest: httpx.Client, resource: Json) -> Json:
    """The resource as the server made it."""
    answer = rest.post(f"/fhir/{resource['resourceType']}", json=resource, headers=JSON)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def of(one: Json) -> Json:
    """A reference to a resource."""
    return {"reference": f"{one['resourceType']}/{one['id']}"}


def put(rest: httpx.Client, resource: Json, *, match: int = 0, **headers: str) -> httpx.Response:
    """An update by id; match is the version for If-Match."""
    sent = JSON | ({"If-Match": f'W/"{match}"'} if match else {}) | headers
    return rest.put(f"/fhir/{resource['resourceType']}/{resource['id']}", json=resource, headers=sent)


def post(resource: Json, *, full_url: str = "", **request: str) -> Json:
    """A Bundle's entry that creates."""
    entry = {"fullUrl": full_url} if full_url else {}
    return entry | {"resource": resource, "request": {"method": "POST", "url": resource["resourceType"], **request}}


def asked(method: str, address: str, resource: Json | None = None, **request: str) -> Json:
    """Any other entry of a Bundle."""
    held = {"resource": resource} if resource is not None else {}
    return held | {"request": {"method": method, "url": address, **request}}


def sent(rest: httpx.Client, *entries: Json, kind: str = "transaction", **headers: str) -> httpx.Response:
    """The answer to a Bundle of these entries."""
    bundle = {"resourceType": "Bundle", "type": kind, "entry": list(entries)}
    return rest.post("/fhir", json=bundle, headers=JSON | headers)


def total(rest: httpx.Client, query: str = "Patient") -> int:
    """How many resources a search finds."""
    return int(rest.get(f"/fhir/{query}{'&' if '?' in query else '?'}_summary=count").json()["total"])


def found(rest: httpx.Client, query: str) -> list[str]:
    """The ids of a search's matches, in their order."""
    answer = rest.get(f"/fhir/{query}")
    assert answer.status_code == 200, (query, answer.text)
    return ids(answer.json())


def ids(bundle: Json, mode: str = "match") -> list[str]:
    """The ids of a Bundle's entries of a mode."""
    return [e["resource"]["id"] for e in bundle.get("entry", []) if e.get("search", {}).get("mode", mode) == mode]


def link(bundle: Json, relation: str) -> str:
    """A link of a Bundle as a path, "" when it has none."""
    return str(next((one["url"] for one in bundle["link"] if one["relation"] == relation), "")).removeprefix(BASE[:-5])


def issue(answer: httpx.Response) -> Json:
    """The first issue of a refusal."""
    body = answer.json()
    assert body["resourceType"] == "OperationOutcome", answer.text
    return dict(body["issue"][0])


def refused(answer: httpx.Response, status: int, *codes: str) -> Json:
    """The first issue of an answer that must have this status and one of these issue codes."""
    assert answer.status_code == status, answer.text
    first = issue(answer)
    assert not codes or first["code"] in codes, first
    assert first["details"]["text"]
    return first


def path_of(answer: httpx.Response) -> str:
    """The path of what an answer's Location names, without its version."""
    return answer.headers["location"].removeprefix(BASE[:-5]).partition("/_history")[0]
