"""Transactions and batches as far as they are the face's."""

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


def test_representation_comes_when_asked_and_reads_always(rest: httpx.Client) -> None:
    whole = rest.post("/fhir", json=bundle(post(active=True)), headers=JSON | {"Prefer": "return=representation"})
    made = whole.json()["entry"][0]["resource"]
    read = rest.post("/fhir", json=bundle(get(f"Patient/{made['id']}")), headers=JSON)
    assert read.json()["entry"][0]["resource"] == made
    assert read.json()["entry"][0]["response"]["status"] == "200 OK"


def test_a_batch_answers_each_entry_by_itself(rest: httpx.Client) -> None:
    answer = rest.post("/fhir", json=bundle(get("Patient/nobody"), post(), kind="batch"), headers=JSON)
    assert answer.status_code == 200
    first, second = answer.json()["entry"]
    assert first["response"]["status"] == "404"
    assert first["response"]["outcome"]["issue"][0]["expression"] == ["Bundle.entry[0]"]
    assert second["response"]["status"] == "201 Created"
    assert count(rest) == 1


def test_a_refused_transaction_is_one_outcome_that_names_the_entry(rest: httpx.Client, place: Place) -> None:
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
def test_what_may_not_be_posted_stores_nothing(rest: httpx.Client, body: Json, *, status: int) -> None:
    answer = rest.post("/fhir", json=body, headers=JSON)
    assert answer.status_code == status, answer.text
    assert answer.json()["resourceType"] == "OperationOutcome"
    assert count(rest) == 0
