"""Deletion over HTTP: checklist rows U14-U18 and T3, alone and in Bundles, both engines."""

from collections.abc import Callable
from typing import Any

import httpx
import pytest

from service.fhir.types import DIRECTORY, STORABLE
from tests.api.conftest import JSON
from tests.builders.audited import Open

Json = dict[str, Any]


@pytest.fixture
def rest(enter: Open) -> httpx.Client:
    return enter("records").http


@pytest.fixture
def made(rest: httpx.Client) -> Callable[..., str]:
    def post(type_: str = "Patient", **more: Any) -> str:
        answer = rest.post(f"/fhir/{type_}", json={"resourceType": type_, **more}, headers=JSON)
        assert answer.status_code == 201, answer.text
        return f"{type_}/{answer.json()['id']}"

    return post


def delete(url: str, **conditions: str) -> Json:
    return {"request": {"method": "DELETE", "url": url, **conditions}}


def post(resource: Json, full_url: str = "", **conditions: str) -> Json:
    request = {"method": "POST", "url": resource["resourceType"], **conditions}
    return {**({"fullUrl": full_url} if full_url else {}), "resource": resource, "request": request}


def send(rest: httpx.Client, *entries: Json, kind: str = "transaction") -> httpx.Response:
    return rest.post("/fhir", json={"resourceType": "Bundle", "type": kind, "entry": list(entries)}, headers=JSON)


def test_what_is_deleted_is_gone_but_its_history_stays(rest: httpx.Client, made: Callable[..., str]) -> None:
    dog = made(identifier=[{"system": "urn:invented", "value": "a"}])
    gone = rest.delete(f"/fhir/{dog}")
    assert (gone.status_code, gone.content, gone.headers["etag"]) == (204, b"", 'W/"2"')
    assert rest.get(f"/fhir/{dog}").status_code == 410
    assert rest.get(f"/fhir/{dog}/_history/2").status_code == 410
    assert rest.get(f"/fhir/{dog}/_history/1").status_code == 200
    assert rest.get("/fhir/Patient?identifier=a").json()["total"] == 0
    newest, oldest = rest.get(f"/fhir/{dog}/_history").json()["entry"]
    assert newest["request"]["method"] == "DELETE"
    assert "resource" not in newest
    assert oldest["request"]["method"] == "POST"
    for again in (dog, "Patient/nobody"):
        assert rest.delete(f"/fhir/{again}").status_code == 204
    assert len(rest.get(f"/fhir/{dog}/_history").json()["entry"]) == 2


def test_a_deleted_id_is_not_taken_up_and_its_identity_is_free(rest: httpx.Client, made: Callable[..., str]) -> None:
    once = JSON | {"If-None-Exist": "identifier=urn:invented|a"}
    body = {"resourceType": "Patient", "identifier": [{"system": "urn:invented", "value": "a"}]}
    first = rest.post("/fhir/Patient", json=body, headers=once).json()["id"]
    assert rest.delete(f"/fhir/Patient/{first}").status_code == 204
    assert rest.put(f"/fhir/Patient/{first}", json=body | {"id": first}, headers=JSON).status_code == 405
    again = rest.post("/fhir/Patient", json=body, headers=once)
    assert again.status_code == 201
    assert again.json()["id"] != first


@pytest.mark.parametrize(
    ("type_", "more"),
    [
        ("Observation", {"status": "final", "code": {"text": "x"}, "subject": {"reference": "@"}}),
        ("RelatedPerson", {"patient": {"reference": "@"}}),
        ("RelatedPerson", {"patient": {"reference": "http://sonoledger.example/fhir/@"}}),
        ("RelatedPerson", {"patient": {"reference": "@/_history/1"}}),
        (
            "Task",
            {
                "status": "draft",
                "intent": "order",
                "input": [{"type": {"text": "x"}, "valueReference": {"reference": "@"}}],
            },
        ),
        ("Location", {"extension": [{"url": "urn:invented", "valueReference": {"reference": "@"}}]}),
        ("Location", {"identifier": [{"value": "x", "assigner": {"reference": "@"}}]}),
        ("Communication", {"status": "completed", "note": [{"text": "x", "authorReference": {"reference": "@"}}]}),
    ],
)
def test_what_is_referred_to_stays_and_the_referrers_are_named(
    rest: httpx.Client, made: Callable[..., str], type_: str, more: Json
) -> None:
    held = made("Organization", name="Invented Clinic") if "identifier" in more else made("Patient")
    referrer = made(type_, **_filled(more, held))
    for answer in (rest.delete(f"/fhir/{held}"), send(rest, delete(held))):
        assert answer.status_code == 409, answer.text
        assert referrer in answer.json()["issue"][0]["details"]["text"]
    assert rest.get(f"/fhir/{held}").status_code == 200


def _filled(value: Any, held: str) -> Any:
    if isinstance(value, dict):
        return {k: _filled(v, held) for k, v in value.items()}
    if isinstance(value, list):
        return [_filled(v, held) for v in value]
    return value.replace("@", held) if isinstance(value, str) else value


def test_only_what_a_directory_holds_can_be_deleted(rest: httpx.Client) -> None:
    for type_ in sorted(STORABLE - {"AuditEvent"}):
        answer = rest.delete(f"/fhir/{type_}/x")
        held = send(rest, delete(f"{type_}/x"))
        if type_ in DIRECTORY:
            assert (answer.status_code, held.status_code) == (204, 200)
            continue
        assert (answer.status_code, held.status_code) == (405, 405)
        assert "DELETE" not in answer.headers["allow"]
        for told in (answer, held):
            assert "entered-in-error" in told.json()["issue"][0]["details"]["text"]


def test_a_conditional_delete_of_one(rest: httpx.Client, made: Callable[..., str]) -> None:
    url = "/fhir/Patient?identifier=urn:invented|a"
    assert rest.delete(url).status_code == 204
    same = [made(identifier=[{"system": "urn:invented", "value": "a"}]) for _ in range(2)]
    several = rest.delete(url)
    assert several.status_code == 412
    assert several.json()["issue"][0]["code"] == "multiple-matches"
    assert rest.delete(f"/fhir/{same[0]}").status_code == 204
    assert rest.delete(url).status_code == 204
    assert rest.get(f"/fhir/{same[1]}").status_code == 410
    for nothing in ("/fhir/Patient", "/fhir/Patient?colour=blue", "/fhir/Patient?_count=1"):
        assert rest.delete(nothing).status_code == 400


def test_a_deletion_heeds_if_match_and_prefer(rest: httpx.Client, made: Callable[..., str]) -> None:
    dog = made()
    assert rest.delete(f"/fhir/{dog}", headers={"If-Match": 'W/"2"'}).status_code == 412
    assert send(rest, delete(dog, ifMatch='W/"2"')).status_code == 412
    said = rest.delete(f"/fhir/{dog}", headers={"If-Match": 'W/"1"', "Prefer": "return=OperationOutcome"})
    assert said.status_code == 200
    assert said.json()["resourceType"] == "OperationOutcome"


def test_a_token_that_may_not_delete_may_not(enter: Open) -> None:
    client = enter("records", "system/*.crus").http
    dog = client.post("/fhir/Patient", json={"resourceType": "Patient"}, headers=JSON).json()["id"]
    assert client.delete(f"/fhir/Patient/{dog}").status_code == 403
    assert send(client, delete(f"Patient/{dog}")).status_code == 403


@pytest.mark.parametrize("turned", [False, True])
def test_what_refers_and_what_is_referred_to_go_together(
    rest: httpx.Client, made: Callable[..., str], turned: bool
) -> None:
    dog = made()
    owner = made("RelatedPerson", patient={"reference": dog})
    entries = [delete(dog), delete(owner)]
    answer = send(rest, *(reversed(entries) if turned else entries))
    assert answer.status_code == 200, answer.text
    assert [e["response"]["status"] for e in answer.json()["entry"]] == ["204 No Content"] * 2
    assert rest.get(f"/fhir/{dog}").status_code == 410


@pytest.mark.parametrize("turned", [False, True])
def test_a_deletion_comes_before_what_is_created(rest: httpx.Client, made: Callable[..., str], turned: bool) -> None:
    old = made(identifier=[{"system": "urn:invented", "value": "a"}])
    body = {"resourceType": "Patient", "identifier": [{"system": "urn:invented", "value": "a"}]}
    entries = [delete(old), post(body, ifNoneExist="identifier=urn:invented|a")]
    answer = send(rest, *(reversed(entries) if turned else entries))
    assert answer.status_code == 200, answer.text
    told = sorted(e["response"]["status"] for e in answer.json()["entry"])
    assert told == ["201 Created", "204 No Content"]
    (only,) = rest.get("/fhir/Patient?identifier=a").json()["entry"]
    assert only["resource"]["id"] not in old


def test_what_is_deleted_cannot_be_referred_to_by_the_same_transaction(
    rest: httpx.Client, made: Callable[..., str]
) -> None:
    dog = made()
    answer = send(rest, post({"resourceType": "RelatedPerson", "patient": {"reference": dog}}), delete(dog))
    assert answer.status_code == 409
    assert rest.get(f"/fhir/{dog}").status_code == 200
    assert rest.get("/fhir/RelatedPerson").json()["total"] == 0


def test_the_animal_of_an_exam_is_not_deleted(enter: Open) -> None:
    from_practice = enter("practice").http
    dog = from_practice.post("/fhir/Patient", json={"resourceType": "Patient"}, headers=JSON).json()["id"]
    note = {
        "resourceType": "Flag",
        "status": "active",
        "code": {"text": "Bites"},
        "subject": {"reference": f"Patient/{dog}"},
    }
    assert from_practice.post("/fhir/Flag", json=note, headers=JSON).status_code == 201
    assert from_practice.delete(f"/fhir/Patient/{dog}").status_code == 409
