"""U10-U18: a change by its differences, and the end of a resource."""

import json
from typing import Any

import httpx
import pytest

from tests.api.conftest import JSON
from tests.conformance.speaking import SYSTEM, found, made, observation, patient, put, refused, total

PATCH = {"Content-Type": "application/json-patch+json"}
SCRIPT = '<div xmlns="http://www.w3.org/1999/xhtml"><script>1</script></div>'


def patched(rest: httpx.Client, path: str, *steps: dict[str, Any], **headers: str) -> httpx.Response:
    return rest.patch(f"/fhir/{path}", content=json.dumps(steps).encode(), headers=PATCH | headers)


def replaced(path: str, value: Any) -> dict[str, Any]:
    return {"op": "replace", "path": path, "value": value}


def test_u10_a_patch_makes_the_next_version(rest: httpx.Client) -> None:
    one = made(rest, patient(active=True))
    path = f"Patient/{one['id']}"
    answer = patched(rest, path, {"op": "test", "path": "/active", "value": True}, replaced("/active", False))
    assert (answer.status_code, answer.headers["etag"]) == (200, 'W/"2"')
    assert answer.json()["active"] is False
    assert rest.get(f"/fhir/{path}").content == answer.content
    minimal = patched(rest, path, replaced("/active", True), Prefer="return=minimal")
    assert (minimal.status_code, minimal.content) == (200, b"")
    assert rest.get(f"/fhir/{path}/_history").json()["total"] == 3


@pytest.mark.parametrize(
    ("steps", "statuses"),
    [
        ([{"op": "test", "path": "/active", "value": False}], {422}),
        ([replaced("/nowhere/at/all", 1)], {400, 422}),
        ([{"op": "remove", "path": "/gender"}], {400, 422}),
        ([replaced("/gender", "blue")], {400, 422}),
        ([{"op": "add", "path": "/nonsense", "value": 1}], {400, 422}),
        ([replaced("/id", "other")], {400, 422}),
        ([replaced("/resourceType", "Location")], {400, 422}),
        ([{"op": "brew", "path": "/active"}], {400, 422}),
        ([{"path": "/active"}], {400, 422}),
    ],
)
def test_u10_a_patch_that_does_not_fit_changes_nothing(
    rest: httpx.Client, steps: list[dict[str, Any]], statuses: set[int]
) -> None:
    one = made(rest, patient(active=True))
    answer = patched(rest, f"Patient/{one['id']}", replaced("/active", True), *steps)
    assert answer.status_code in statuses, answer.text
    refused(answer, answer.status_code)
    for body in (b"{", b"{}", b'"x"', b"null"):
        refused(rest.patch(f"/fhir/Patient/{one['id']}", content=body, headers=PATCH), 400)
    assert rest.get(f"/fhir/Patient/{one['id']}").json() == one


def test_u11_a_stale_patch_is_refused_and_no_unsafe_narrative_comes_in(rest: httpx.Client) -> None:
    one = made(rest, observation(text={"status": "generated", "div": SCRIPT.replace("script", "p")}))
    path = f"Observation/{one['id']}"
    refused(patched(rest, path, replaced("/status", "amended")), 428, "required")
    refused(patched(rest, path, replaced("/status", "amended"), **{"If-Match": 'W/"7"'}), 412, "conflict")
    unsafe = patched(rest, path, replaced("/text/div", SCRIPT), **{"If-Match": 'W/"1"'})
    assert unsafe.status_code in {400, 422}
    assert rest.get(f"/fhir/{path}").json() == one
    assert patched(rest, path, replaced("/status", "amended"), **{"If-Match": 'W/"1"'}).status_code == 200


def test_u12_a_patch_by_criteria(rest: httpx.Client) -> None:
    criteria = f"Patient?identifier={SYSTEM}|a"
    add = {"op": "add", "path": "/active", "value": True}
    refused(patched(rest, criteria, add), 404)
    one = made(rest, patient("a"))
    answer = patched(rest, criteria, add)
    assert (answer.status_code, answer.json()["id"]) == (200, one["id"])
    made(rest, patient("a"))
    refused(patched(rest, criteria, add), 412, "multiple-matches")
    refused(patched(rest, "Patient", add), 400)
    refused(patched(rest, "Patient?colour=blue", add), 400)


@pytest.mark.parametrize("kind", ["application/xml-patch+xml", "application/fhir+json", "application/json", ""])
def test_u13_other_patches_are_415(rest: httpx.Client, kind: str) -> None:
    one = made(rest, patient())
    answer = rest.patch(f"/fhir/Patient/{one['id']}", content=b"[]", headers={"Content-Type": kind})
    refused(answer, 415, "not-supported")
    assert "application/json-patch+json" in answer.headers["accept-patch"]


def test_u14_what_is_deleted_is_gone_but_remembered(rest: httpx.Client) -> None:
    one = made(rest, patient("a"))
    path = f"/fhir/Patient/{one['id']}"
    answer = rest.delete(path)
    assert answer.status_code in {200, 204}
    refused(rest.get(path), 410, "deleted")
    assert found(rest, f"Patient?identifier={SYSTEM}|a") == found(rest, "Patient") == []
    history = rest.get(f"{path}/_history").json()["entry"]
    assert [entry["request"]["method"] for entry in history] == ["DELETE", "POST"]
    assert rest.get(f"{path}/_history/1").json() == one
    refused(rest.get(f"{path}/_history/2"), 410)


def test_u15_deleting_again_or_nothing_is_no_fault(rest: httpx.Client) -> None:
    one = made(rest, patient())
    for path in (one["id"], one["id"], "never-existed"):
        assert rest.delete(f"/fhir/Patient/{path}").status_code in {200, 204}
    assert len(rest.get(f"/fhir/Patient/{one['id']}/_history").json()["entry"]) == 2


def test_u16_what_others_refer_to_stays(rest: httpx.Client) -> None:
    one = made(rest, patient())
    bearer = made(rest, observation(subject={"reference": f"Patient/{one['id']}"}))
    answer = rest.delete(f"/fhir/Patient/{one['id']}")
    refused(answer, 409, "conflict", "business-rule")
    assert f"Observation/{bearer['id']}" in answer.text
    assert rest.get(f"/fhir/Patient/{one['id']}").status_code == 200


def test_u16_clinical_and_billing_types_are_never_deleted(rest: httpx.Client) -> None:
    one = made(rest, observation())
    answer = rest.delete(f"/fhir/Observation/{one['id']}")
    told = refused(answer, 405, "not-supported")
    assert "entered-in-error" in told["details"]["text"]
    assert "DELETE" not in answer.headers["allow"]
    assert rest.get(f"/fhir/Observation/{one['id']}").json() == one


def test_u17_what_was_deleted_is_not_taken_up_again(rest: httpx.Client) -> None:
    one = made(rest, patient())
    rest.delete(f"/fhir/Patient/{one['id']}")
    told = refused(put(rest, one), 405, "not-supported")
    assert "POST" in told["details"]["text"]
    assert rest.get(f"/fhir/Patient/{one['id']}/_history").json()["total"] == 2
    refused(patched(rest, f"Patient/{one['id']}", replaced("/active", True)), 410, "deleted")


def test_u18_a_deletion_by_criteria(rest: httpx.Client) -> None:
    criteria = f"/fhir/Patient?identifier={SYSTEM}|a"
    assert rest.delete(criteria).status_code in {200, 204}
    for _ in range(2):
        made(rest, patient("a"))
    refused(rest.delete(criteria), 412, "multiple-matches")
    assert total(rest) == 2
    rest.delete(f"/fhir/Patient/{found(rest, 'Patient')[0]}")
    assert rest.delete(criteria).status_code in {200, 204}
    assert total(rest) == 0
    for nothing in (
        "/fhir/Patient",
        "/fhir/Patient?colour=blue",
        "/fhir/Patient?_count=1",
        "/fhir/Patient?identifier=",
    ):
        assert rest.delete(nothing, headers=JSON).status_code in {400, 405, 412}
