"""Transactions and batches: checklist rows T1-T11 as far as they are the face's."""

from typing import Any

import httpx
import pytest

from service.basics.errors import Fault, Invalid
from tests.api.conftest import JSON, Place

Json = dict[str, Any]


def bundle(*entries: Json, kind: str = "transaction") -> Json:
    return {"resourceType": "Bundle", "type": kind, "entry": list(entries)}


def post(type_: str = "Patient", **more: Any) -> Json:
    return {"resource": {"resourceType": type_, **more}, "request": {"method": "POST", "url": type_}}


def get(url: str) -> Json:
    return {"request": {"method": "GET", "url": url}}


def count(rest: httpx.Client) -> int:
    return int(rest.get("/fhir/Patient?_summary=count").json()["total"])


@pytest.mark.parametrize("path", ["/fhir", "/fhir/"])
def test_t1_the_answer_has_one_entry_per_entry_in_order(rest: httpx.Client, path: str) -> None:
    answer = rest.post(path, json=bundle(post(active=True), post("Location"), post(active=False)), headers=JSON)
    assert answer.status_code == 200
    found = answer.json()
    assert found["type"] == "transaction-response"
    assert [one["response"]["status"] for one in found["entry"]] == ["201 Created"] * 3
    places = [one["response"]["location"] for one in found["entry"]]
    assert [place.split("/")[4] for place in places] == ["Patient", "Location", "Patient"]
    assert all(one["response"]["etag"] == 'W/"1"' and one["response"]["lastModified"] for one in found["entry"])
    assert all("resource" not in one for one in found["entry"])
    again = rest.get(places[2].replace("http://sonoledger.example", ""))
    assert again.json()["active"] is False


def test_representation_comes_when_asked_and_reads_always(rest: httpx.Client) -> None:
    whole = rest.post("/fhir", json=bundle(post(active=True)), headers=JSON | {"Prefer": "return=representation"})
    made = whole.json()["entry"][0]["resource"]
    read = rest.post("/fhir", json=bundle(get(f"Patient/{made['id']}")), headers=JSON)
    assert read.json()["entry"][0]["resource"] == made
    assert read.json()["entry"][0]["response"]["status"] == "200 OK"


def test_t8_an_empty_bundle_is_fine(rest: httpx.Client) -> None:
    for kind in ("transaction", "batch"):
        answer = rest.post("/fhir", json={"resourceType": "Bundle", "type": kind}, headers=JSON)
        assert answer.status_code == 200
        assert answer.json() == {"resourceType": "Bundle", "type": f"{kind}-response"}


def test_t9_a_batch_answers_each_entry_by_itself(rest: httpx.Client) -> None:
    answer = rest.post("/fhir", json=bundle(get("Patient/nobody"), post(), kind="batch"), headers=JSON)
    assert answer.status_code == 200
    first, second = answer.json()["entry"]
    assert first["response"]["status"] == "404"
    assert first["response"]["outcome"]["issue"][0]["expression"] == ["Bundle.entry[0]"]
    assert second["response"]["status"] == "201 Created"
    assert count(rest) == 1


def test_t10_a_refused_transaction_is_one_outcome_that_names_the_entry(rest: httpx.Client, place: Place) -> None:
    place.transact.raises[:] = [Invalid(Fault("value", "No such status.", "Bundle.entry[3].resource.status"))]
    answer = rest.post("/fhir", json=bundle(post(), post()), headers=JSON)
    assert answer.status_code == 400
    assert answer.json()["resourceType"] == "OperationOutcome"
    assert answer.json()["issue"][0]["expression"] == ["Bundle.entry[3].resource.status"]


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"resourceType": "Patient"}, 400),
        ({"resourceType": "Bundle"}, 400),
        (bundle(kind="searchset"), 400),
        (bundle(kind="history"), 400),
        (bundle({"resource": {"resourceType": "Patient"}}), 400),
        (bundle({"request": {"method": "POST", "url": "Patient"}}), 400),
        (bundle({"request": {"method": "BREW", "url": "Patient"}}), 400),
        (
            bundle(
                {"request": {"method": "POST", "url": "Task/x/$finish"}, "resource": {"resourceType": "Parameters"}}
            ),
            400,
        ),
        (bundle(post(), post("Foo")), 404),
        (bundle(post(), {"request": {"method": "DELETE", "url": "Observation/x"}}), 405),
        (bundle(*[post()] * 501), 413),
        (bundle() | {"nonsense": 1}, 400),
    ],
)
def test_t7_t11_what_may_not_be_posted_stores_nothing(rest: httpx.Client, body: Json, *, status: int) -> None:
    answer = rest.post("/fhir", json=body, headers=JSON)
    assert answer.status_code == status, answer.text
    assert answer.json()["resourceType"] == "OperationOutcome"
    assert count(rest) == 0


def test_t11_five_hundred_entries_are_taken(rest: httpx.Client) -> None:
    answer = rest.post("/fhir", json=bundle(*[post()] * 500), headers=JSON)
    assert answer.status_code == 200
    assert count(rest) == 500
