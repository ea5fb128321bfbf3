"""The whole service behind the face: nothing is a twin here. Checklist rows W7-W12, U2-U17, T1-T12 on both engines."""

import uuid
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx
import pytest

from service.app import application
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.store import SqlBooks
from tests.api import running
from tests.api.conftest import JSON

Json = dict[str, Any]
BASE = "http://sonoledger.example/fhir"


@pytest.fixture(scope="module")
def url(module_books: SqlBooks) -> Iterator[str]:
    with running.served(application(module_books, load(read_folder()), base=BASE)) as address:
        yield address


@pytest.fixture
def token(module_books: SqlBooks) -> str:
    return running.register(module_books, f"records-{uuid.uuid4().hex[:12]}")


@pytest.fixture
def rest(url: str, token: str) -> Iterator[httpx.Client]:
    with running.client(url, token) as client:
        yield client


def patient(value: str = "", **more: Any) -> Json:
    identifier = {"identifier": [{"system": "urn:invented", "value": value}]} if value else {}
    return {"resourceType": "Patient", **identifier, **more}


def made(rest: httpx.Client, resource: Json) -> Json:
    answer = rest.post(f"/fhir/{resource['resourceType']}", json=resource, headers=JSON)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def total(rest: httpx.Client, type_: str = "Patient") -> int:
    return int(rest.get(f"/fhir/{type_}?_summary=count").json()["total"])


def test_w3_every_fault_of_a_resource_is_told_with_its_path(rest: httpx.Client) -> None:
    body = {"resourceType": "Observation", "status": "done", "colour": "red", "valueString": "x", "valueInteger": 1}
    answer = rest.post("/fhir/Observation", json=body, headers=JSON)
    assert answer.status_code == 400
    told = {one["expression"][0] for one in answer.json()["issue"]}
    assert {"Observation.status", "Observation.code", "Observation.colour"} <= told
    assert total(rest, "Observation") == 0


def test_w7_to_w9_a_conditional_create(rest: httpx.Client) -> None:
    ask = JSON | {"If-None-Exist": "identifier=urn:invented|a"}
    first = rest.post("/fhir/Patient", json=patient("a"), headers=ask)
    again = rest.post("/fhir/Patient", json=patient("a", active=True), headers=ask)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert again.headers["location"] == first.headers["location"]
    made(rest, patient("a"))
    several = rest.post("/fhir/Patient", json=patient("a"), headers=ask)
    assert several.status_code == 412
    assert several.json()["issue"][0]["code"] == "multiple-matches"


@pytest.mark.parametrize("criteria", ["colour=blue", "_count=1", "identifier=", "_sort=_lastUpdated", "birthdate=x"])
def test_w11_w12_criteria_that_are_no_criteria_are_refused(rest: httpx.Client, criteria: str) -> None:
    made(rest, patient("a"))
    answer = rest.post("/fhir/Patient", json=patient("b"), headers=JSON | {"If-None-Exist": criteria})
    assert answer.status_code in {400, 412}
    assert rest.put(f"/fhir/Patient?{criteria}", json=patient("b"), headers=JSON).status_code in {400, 412}
    assert total(rest) == 1


def test_w10_of_twenty_at_once_one_creates(url: str, token: str) -> None:
    """R10 of the reliability plan in short: 20 callers, 5 rounds; the long one is with the whole stories."""

    def create(round_: int) -> tuple[int, str]:
        with running.client(url, token) as rest:
            ask = JSON | {"If-None-Exist": f"identifier=urn:invented|{round_}"}
            answer = rest.post("/fhir/Patient", json=patient(str(round_)), headers=ask)
            return answer.status_code, answer.json()["id"]

    for round_ in range(5):
        with ThreadPoolExecutor(20) as callers:
            answers = list(callers.map(create, [round_] * 20))
        assert sorted(status for status, _ in answers) == [200] * 19 + [201]
        assert len({id_ for _, id_ in answers}) == 1


def test_u2_u4_u5_updates_and_their_conditions(rest: httpx.Client) -> None:
    one = made(rest, {"resourceType": "Observation", "status": "final", "code": {"text": "x"}})
    path, changed = f"/fhir/Observation/{one['id']}", one | {"status": "amended"}
    assert rest.put(path, json=changed, headers=JSON).status_code == 428
    assert rest.put(path, json=changed, headers=JSON | {"If-Match": 'W/"2"'}).status_code == 412
    done = rest.put(path, json=changed, headers=JSON | {"If-Match": 'W/"1"'})
    assert (done.status_code, done.headers["etag"]) == (200, 'W/"2"')
    assert rest.put(path, json=changed, headers=JSON | {"If-Match": 'W/"1"'}).status_code == 412
    assert len(rest.get(f"{path}/_history").json()["entry"]) == 2


def test_u7_updates_without_condition_make_consecutive_versions(url: str, token: str) -> None:
    with running.client(url, token) as rest:
        one = made(rest, patient())

    def update(_: int) -> tuple[int, str]:
        with running.client(url, token) as mine:
            answer = mine.put(f"/fhir/Patient/{one['id']}", json=patient() | {"id": one["id"]}, headers=JSON)
            return answer.status_code, answer.headers.get("etag", "")

    with ThreadPoolExecutor(20) as callers:
        answers = list(callers.map(update, range(20)))
    done = sorted(int(etag[3:-1]) for status, etag in answers if status == 200)
    assert done == list(range(2, len(done) + 2))
    assert {status for status, _ in answers} <= {200, 409}


def test_u3_u17_ids_are_the_servers(rest: httpx.Client) -> None:
    answer = rest.put("/fhir/Patient/mine", json=patient() | {"id": "mine"}, headers=JSON)
    assert answer.status_code == 405
    assert "POST" in answer.json()["issue"][0]["details"]["text"]


def test_u8_an_update_by_criteria(rest: httpx.Client) -> None:
    first = rest.put("/fhir/Patient?identifier=urn:invented|a", json=patient("a"), headers=JSON)
    again = rest.put("/fhir/Patient?identifier=urn:invented|a", json=patient("a", active=True), headers=JSON)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json()["id"] == first.json()["id"]
    assert again.json()["active"] is True
    other = rest.put("/fhir/Patient?identifier=urn:invented|a", json=patient("a") | {"id": "other"}, headers=JSON)
    assert other.status_code == 400
    made(rest, patient("a"))
    assert rest.put("/fhir/Patient?identifier=urn:invented|a", json=patient("a"), headers=JSON).status_code == 412


def test_deletion_is_refused_with_the_way_out_alone_and_in_a_bundle(rest: httpx.Client) -> None:
    one = made(rest, {"resourceType": "Observation", "status": "final", "code": {"text": "x"}})
    alone = rest.delete(f"/fhir/Observation/{one['id']}")
    entry = {"request": {"method": "DELETE", "url": f"Observation/{one['id']}"}}
    held = rest.post("/fhir", json={"resourceType": "Bundle", "type": "transaction", "entry": [entry]}, headers=JSON)
    for answer in (alone, held):
        assert answer.status_code == 405
        assert "entered-in-error" in answer.json()["issue"][0]["details"]["text"]
    assert total(rest, "Observation") == 1


def test_t5_a_transaction_links_what_it_makes(rest: httpx.Client) -> None:
    person, dog = "urn:uuid:0190a1f0-0000-4000-8000-000000000001", "urn:uuid:0190a1f0-0000-4000-8000-000000000002"
    entries = [
        {
            "fullUrl": person,
            "resource": {"resourceType": "RelatedPerson", "patient": {"reference": dog}},
            "request": {"method": "POST", "url": "RelatedPerson"},
        },
        {"fullUrl": dog, "resource": patient(), "request": {"method": "POST", "url": "Patient"}},
    ]
    answer = rest.post("/fhir", json={"resourceType": "Bundle", "type": "transaction", "entry": entries}, headers=JSON)
    assert answer.status_code == 200, answer.text
    owner, animal = (
        one["response"]["location"].removeprefix(BASE).partition("/_history")[0] for one in answer.json()["entry"]
    )
    assert rest.get(f"/fhir{owner}").json()["patient"]["reference"] == animal.removeprefix("/")


def test_t2_one_bad_entry_and_nothing_is_stored(rest: httpx.Client) -> None:
    good = {"resource": patient(), "request": {"method": "POST", "url": "Patient"}}
    bad = {"resource": patient(gender="blue"), "request": {"method": "POST", "url": "Patient"}}
    stale = {
        "resource": {"resourceType": "Patient", "id": "x"},
        "request": {"method": "PUT", "url": "Patient/x", "ifMatch": 'W/"3"'},
    }
    for position, wrong in [(0, bad), (1, bad), (2, stale)]:
        entries = [good, good]
        entries.insert(position, wrong)
        bundle = {"resourceType": "Bundle", "type": "transaction", "entry": entries}
        answer = rest.post("/fhir", json=bundle, headers=JSON)
        assert answer.status_code in {400, 404, 405, 412}, answer.text
        assert answer.json()["issue"][0]["expression"][0].startswith(f"Bundle.entry[{position}]")
        assert total(rest) == 0


def test_an_order_cannot_come_without_what_it_needs(module_books: SqlBooks, url: str) -> None:
    token = running.register(module_books, f"practice-{uuid.uuid4().hex[:12]}", kind="practice")
    with running.client(url, token) as practice:
        order = {
            "resourceType": "ServiceRequest",
            "status": "active",
            "intent": "order",
            "subject": {"reference": "Patient/x"},
        }
        answer = practice.post("/fhir/ServiceRequest", json=order, headers=JSON)
        assert answer.status_code in {400, 404, 422}, answer.text
        assert total(practice, "Task") == 0


def test_operations_reach_their_actions(rest: httpx.Client) -> None:
    for name in ("finish", "amend", "withdraw", "settle"):
        answer = rest.post(f"/fhir/Task/nobody/${name}", headers=JSON, json={"resourceType": "Parameters"})
        assert answer.status_code == 404, answer.text
