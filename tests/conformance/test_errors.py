"""E400-E422: each class of refusal has one status, one family of issue codes, and words to act on."""

import httpx
import pytest

from service.store import SqlBooks
from tests.api import running, twins
from tests.api.conftest import JSON
from tests.builders import orders
from tests.conformance.speaking import SYSTEM, made, observation, patient, put, refused, total


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("GET", "Patient?birthdate=23 May", None),
        ("GET", "Patient?name:foo=x", None),
        ("POST", "Patient", b"{"),
        ("POST", "Patient", b'{"resourceType":"Patient","gender":"blue"}'),
        ("PUT", "Patient/x", b'{"resourceType":"Patient","id":"y"}'),
    ],
)
def test_e400_what_cannot_be_understood(rest: httpx.Client, method: str, path: str, body: bytes | None) -> None:
    answer = rest.request(method, f"/fhir/{path}", content=body, headers=JSON)
    refused(answer, 400, "invalid", "structure", "required", "value", "not-supported", "code-invalid")


def test_e400_every_fault_is_told_with_its_place_and_the_same_one_has_the_same_code(rest: httpx.Client) -> None:
    body = {"resourceType": "Observation", "status": "done", "colour": "red", "valueString": "x", "valueInteger": 1}
    told = [rest.post("/fhir/Observation", json=body, headers=JSON).json()["issue"] for _ in range(2)]
    assert told[0] == told[1]
    assert {"Observation.status", "Observation.code", "Observation.colour"} <= {i["expression"][0] for i in told[0]}
    for issue in told[0]:
        assert issue["severity"] == "error"
        assert issue["details"]["text"]
        assert issue["expression"][0] in issue["diagnostics"]


@pytest.mark.parametrize("header", ["", "Bearer", "Bearer " + "x" * 43, "Basic dXNlcjpwYXNz"])
def test_e401_no_valid_token(url: str, header: str) -> None:
    with running.client(url) as nobody:
        answer = nobody.get("/fhir/Patient/x", headers={"Authorization": header} if header else {})
    refused(answer, 401, "login", "expired")
    assert answer.headers["www-authenticate"].startswith("Bearer")


def test_e403_beyond_the_scope_and_e404_beyond_the_organisation(
    url: str, module_books: SqlBooks, organization_of: str, rest: httpx.Client
) -> None:
    one = made(rest, patient())
    with running.client(url, running.register(module_books, organization_of, "system/Patient.r")) as reader:
        assert reader.get(f"/fhir/Patient/{one['id']}").status_code == 200
        refused(reader.post("/fhir/Patient", json=patient(), headers=JSON), 403, "forbidden")
        refused(reader.get("/fhir/Patient"), 403, "forbidden")
    with running.client(url, running.register(module_books, f"{organization_of}-other")) as other:
        foreign, unknown = (other.get(f"/fhir/Patient/{id_}") for id_ in (one["id"], one["id"][::-1]))
        refused(foreign, 404, "not-found")
        assert foreign.text.replace(one["id"], "") == unknown.text.replace(one["id"][::-1], "")


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/nothing",
        "/fhir/Foo",
        "/fhir/Foo/x",
        "/fhir/Patient/x",
        "/fhir/Patient/x/y",
        "/fhir/Patient/x/_history/1",
        "/fhir/Patient/x/_history/1/2",
        "/fhir/Patient/x/$no",
        "/fhir/$no",
    ],
)
def test_e404_there_is_nothing(rest: httpx.Client, path: str) -> None:
    refused(rest.get(path), 404, "not-found", "not-supported")


def test_e405_names_what_is_allowed(rest: httpx.Client) -> None:
    for method, path, allowed in [
        ("DELETE", "/fhir/Observation/x", {"GET", "HEAD", "PUT"}),
        ("DELETE", "/fhir/Invoice?identifier=a|b", {"GET", "HEAD", "POST", "PUT"}),
        ("GET", "/fhir/Task/x/$finish", {"POST"}),
        ("POST", "/fhir/metadata", {"GET", "HEAD"}),
        ("POST", "/livez", {"GET", "HEAD"}),
        ("POST", "/docs", {"GET", "HEAD"}),
    ]:
        answer = rest.request(method, path)
        refused(answer, 405, "not-supported")
        named = set(answer.headers["allow"].split(", "))
        assert allowed <= named
        assert method not in named


def test_e406_e415_a_format_that_is_not_spoken(rest: httpx.Client) -> None:
    refused(rest.get("/fhir/Patient", headers={"Accept": "application/fhir+xml"}), 406, "not-supported")
    wrong = rest.post("/fhir/Patient", content=b"<Patient/>", headers={"Content-Type": "application/fhir+xml"})
    refused(wrong, 415, "not-supported")
    assert "application/fhir+json" in wrong.headers["accept-post"]


def test_e409_the_present_state_forbids_it(practice: httpx.Client) -> None:
    order = orders.bundle(placed="one-number")
    assert practice.post("/fhir", json=order, headers=JSON).status_code == 200
    other = orders.bundle(placed="one-number", service="limited")
    refused(practice.post("/fhir", json=other, headers=JSON), 409, "conflict", "duplicate")
    task = practice.get("/fhir/Task?status=accepted").json()["entry"][0]["resource"]
    refused(put(practice, task | {"status": "completed"}, match=int(task["meta"]["versionId"])), 409, "business-rule")


def test_e410_it_was_deleted(rest: httpx.Client, module_books: SqlBooks, organization_of: str) -> None:
    one = made(rest, patient())
    twins.erase(module_books, organization_of, "Patient", id_=one["id"])
    refused(rest.get(f"/fhir/Patient/{one['id']}"), 410, "deleted")


def test_e412_a_condition_does_not_hold(rest: httpx.Client) -> None:
    one = made(rest, observation())
    refused(put(rest, one, match=7), 412, "conflict")
    for _ in range(2):
        made(rest, patient("a"))
    ask = JSON | {"If-None-Exist": f"identifier={SYSTEM}|a"}
    refused(rest.post("/fhir/Patient", json=patient("a"), headers=ask), 412, "multiple-matches")


def test_e413_too_much(rest: httpx.Client) -> None:
    answer = rest.post("/fhir/Patient", content=b" " * (2 * 1024 * 1024 + 1), headers=JSON)
    refused(answer, 413, "too-long", "too-costly")
    assert total(rest) == 0


def test_e428_a_change_needs_the_version_it_is_based_on(rest: httpx.Client) -> None:
    refused(put(rest, made(rest, observation())), 428, "required")


def test_e422_a_published_rule_forbids_it(practice: httpx.Client) -> None:
    assert practice.post("/fhir", json=orders.bundle(), headers=JSON).status_code == 200
    task = practice.get("/fhir/Task?status=accepted").json()["entry"][0]["resource"]
    owed = practice.post(f"/fhir/Task/{task['id']}/$finish", json={"resourceType": "Parameters"}, headers=JSON)
    refused(owed, 422, "business-rule", "invariant", "required")
    assert len(owed.json()["issue"]) > 1
    assert practice.get(f"/fhir/Task/{task['id']}").json() == task


def test_e422_an_order_comes_with_what_it_needs(practice: httpx.Client) -> None:
    order = {
        "resourceType": "ServiceRequest",
        "status": "active",
        "intent": "order",
        "subject": {"reference": "Patient/x"},
    }
    answer = practice.post("/fhir/ServiceRequest", json=order, headers=JSON)
    assert answer.status_code in {400, 404, 422}, answer.text
    assert total(practice, "Task") == total(practice, "ServiceRequest") == 0
