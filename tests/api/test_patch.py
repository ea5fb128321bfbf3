"""JSON Patch over HTTP: checklist rows U10-U13, alone and as a Binary in Bundles, both engines."""

import base64
import json
from collections.abc import Callable
from typing import Any

import httpx
import pytest

from tests.api.conftest import JSON
from tests.builders.audited import Audited, Open

Json = dict[str, Any]
PATCH = {"Content-Type": "application/json-patch+json"}


@pytest.fixture
def rest(enter: Open) -> httpx.Client:
    one: Audited = enter("records")
    return one.http


@pytest.fixture
def made(rest: httpx.Client) -> Callable[..., Json]:
    def post(type_: str = "Patient", **more: Any) -> Json:
        answer = rest.post(f"/fhir/{type_}", content=json.dumps({"resourceType": type_, **more}), headers=JSON)
        assert answer.status_code == 201, answer.text
        return dict(answer.json())

    return post


def patch(rest: httpx.Client, where: str, *operations: Json, **headers: str) -> httpx.Response:
    return rest.patch(f"/fhir/{where}", content=json.dumps(operations), headers=PATCH | headers)


def set_(path: str, value: Any) -> Json:
    return {"op": "add", "path": path, "value": value}


def test_a_patch_makes_the_next_version(rest: httpx.Client, made: Callable[..., Json]) -> None:
    dog = made(name=[{"text": "Bramble"}], gender="male")
    answer = patch(rest, f"Patient/{dog['id']}", set_("/name/-", {"text": "Bram"}), {"op": "remove", "path": "/gender"})
    assert answer.status_code == 200
    assert answer.headers["etag"] == 'W/"2"'
    assert answer.json()["name"] == [{"text": "Bramble"}, {"text": "Bram"}]
    assert "gender" not in answer.json()
    assert rest.get(f"/fhir/Patient/{dog['id']}").content == answer.content
    history = rest.get(f"/fhir/Patient/{dog['id']}/_history").json()["entry"]
    assert [e["request"]["method"] for e in history] == ["PATCH", "POST"]


def test_every_digit_stays(rest: httpx.Client) -> None:
    body = (
        '{"resourceType":"Observation","status":"final","code":{"text":"Length"},'
        '"valueQuantity":{"value":0.40,"unit":"cm"}}'
    )
    first = rest.post("/fhir/Observation", content=body, headers=JSON).json()
    operations = '[{"op":"test","path":"/valueQuantity/value","value":0.4},{"op":"add","path":"/valueQuantity/code","value":"cm"},{"op":"add","path":"/valueQuantity/system","value":"http://unitsofmeasure.org"},{"op":"add","path":"/referenceRange","value":[{"low":{"value":1.10}}]}]'
    answer = rest.patch(f"/fhir/Observation/{first['id']}", content=operations, headers=PATCH | {"If-Match": 'W/"1"'})
    assert answer.status_code == 200, answer.text
    assert '"value":0.40' in answer.text
    assert '"value":1.10' in answer.text


@pytest.mark.parametrize(
    ("operations", "status"),
    [
        ([{"op": "test", "path": "/active", "value": 1}], 422),  # true is not 1
        ([{"op": "test", "path": "/gender", "value": "female"}], 422),
        ([{"op": "test", "path": "/gender/0", "value": "m"}], 422),  # a letter is no element
        ([{"op": "remove", "path": "/nothing"}], 422),
        ([{"op": "replace", "path": "/name/1/text", "value": "x"}], 422),
        ([{"op": "add", "path": "/name/7", "value": {"text": "x"}}], 422),
        ([{"op": "copy", "from": "/name/-", "path": "/contact"}], 422),
        ([{"op": "move", "from": "/name", "path": "/name/0"}], 422),
        ([{"op": "replace", "path": "/id", "value": "another"}], 422),
        ([{"op": "remove", "path": "/resourceType"}], 422),
        ([{"op": "replace", "path": "", "value": []}], 422),
        ([{"op": "add", "path": "/gender", "value": "blue"}], 400),
        ([{"op": "add", "path": "/colour", "value": "blue"}], 400),
        ([{"op": "add", "path": "/name", "value": []}], 400),
        ([{"op": "add", "path": "/active", "value": False}, {"op": "remove", "path": "/nothing"}], 422),
        ([], 400),
        ({"op": "add"}, 400),
        ([{"op": "brew", "path": "/a"}], 400),
        ([{"op": "add", "path": "a", "value": 1}], 400),
        ([{"op": "add", "path": "/a"}], 400),
        (["add"], 400),
        ([{"op": "test", "path": "/active", "value": True}] * 501, 413),
        (
            [
                {"op": "add", "path": "/name/0/text", "value": "x" * 99_000},
                *[{"op": "copy", "from": "/name/0", "path": "/name/-"}] * 60,
            ],
            413,
        ),
    ],
)
def test_what_does_not_fit_changes_nothing(
    rest: httpx.Client, made: Callable[..., Json], operations: Any, status: int
) -> None:
    dog = made(name=[{"text": "Bramble"}], gender="male", active=True)
    answer = rest.patch(f"/fhir/Patient/{dog['id']}", content=json.dumps(operations), headers=PATCH)
    assert answer.status_code == status, answer.text
    assert answer.json()["resourceType"] == "OperationOutcome"
    assert rest.get(f"/fhir/Patient/{dog['id']}").json() == dog


def test_faults_of_the_result_have_their_paths(rest: httpx.Client, made: Callable[..., Json]) -> None:
    dog = made(active=True)
    answer = patch(rest, f"Patient/{dog['id']}", set_("/gender", "blue"), set_("/birthDate", "soon"))
    told = {issue["expression"][0] for issue in answer.json()["issue"]}
    assert told == {"Patient.gender", "Patient.birthDate"}


def test_prefer_and_if_match_apply(rest: httpx.Client, made: Callable[..., Json]) -> None:
    dog = made()
    minimal = patch(rest, f"Patient/{dog['id']}", set_("/active", True), Prefer="return=minimal")
    assert (minimal.status_code, minimal.content) == (200, b"")
    said = patch(rest, f"Patient/{dog['id']}", set_("/active", False), Prefer="return=OperationOutcome")
    assert said.json()["resourceType"] == "OperationOutcome"
    assert patch(rest, f"Patient/{dog['id']}", set_("/active", True), **{"If-Match": "3"}).status_code == 400
    task = made("Task", status="draft", intent="order")
    assert patch(rest, f"Task/{task['id']}", set_("/status", "ready")).status_code == 428
    assert patch(rest, f"Task/{task['id']}", set_("/status", "ready"), **{"If-Match": 'W/"1"'}).status_code == 200


def test_a_stale_patch_is_412_and_no_narrative_outlives_its_data(rest: httpx.Client, made: Callable[..., Json]) -> None:
    text = {"status": "generated", "div": '<div xmlns="http://www.w3.org/1999/xhtml">A male dog</div>'}
    dog = made(gender="male", text=text)
    at = f"Patient/{dog['id']}"
    assert patch(rest, at, set_("/active", True), **{"If-Match": 'W/"9"'}).status_code == 412
    only_looked = patch(rest, at, {"op": "test", "path": "/gender", "value": "male"})
    assert only_looked.json()["text"] == text
    assert "text" not in patch(rest, at, set_("/gender", "female")).json()
    told = text | {"div": text["div"].replace("male", "neutered")}
    assert patch(rest, at, set_("/gender", "male"), set_("/text", told)).json()["text"] == told
    script = text | {"div": '<div xmlns="http://www.w3.org/1999/xhtml"><script>x</script></div>'}
    assert patch(rest, at, set_("/text", script)).status_code == 400


def test_a_conditional_patch(rest: httpx.Client, made: Callable[..., Json]) -> None:
    at = "Patient?identifier=urn:invented|a"
    assert patch(rest, at, set_("/active", True)).status_code == 404
    first = made(identifier=[{"system": "urn:invented", "value": "a"}])
    found = patch(rest, at, set_("/active", True))
    assert (found.status_code, found.json()["id"]) == (200, first["id"])
    assert patch(rest, at, set_("/active", False), **{"If-Match": 'W/"1"'}).status_code == 412
    made(identifier=[{"system": "urn:invented", "value": "a"}])
    assert patch(rest, at, set_("/active", False)).status_code == 412
    assert patch(rest, "Patient?colour=blue", set_("/active", False)).status_code == 400
    assert patch(rest, "Patient", set_("/active", False)).status_code == 400


def test_patches_of_what_is_not_there(rest: httpx.Client, made: Callable[..., Json]) -> None:
    assert patch(rest, "Patient/nobody", set_("/active", True)).status_code == 404
    gone = made()
    assert rest.delete(f"/fhir/Patient/{gone['id']}").status_code == 204
    assert patch(rest, f"Patient/{gone['id']}", set_("/active", True)).status_code == 410


@pytest.mark.parametrize(
    "kind", ["application/fhir+json", "application/json", "application/xml-patch+xml", "text/plain"]
)
def test_other_kinds_of_patch_are_415_and_told_which_is_taken(
    rest: httpx.Client, made: Callable[..., Json], kind: str
) -> None:
    dog = made()
    answer = rest.patch(f"/fhir/Patient/{dog['id']}", content=b"[]", headers={"Content-Type": kind})
    assert answer.status_code == 415
    assert answer.headers["accept-patch"] == "application/json-patch+json"


def test_a_token_that_may_not_update_may_not_patch(enter: Open) -> None:
    reader = enter("records", "system/*.crs").http
    dog = reader.post("/fhir/Patient", json={"resourceType": "Patient"}, headers=JSON).json()
    assert patch(reader, f"Patient/{dog['id']}", set_("/active", True)).status_code == 403


def binary(*operations: Json, kind: str = "application/json-patch+json") -> Json:
    data = base64.b64encode(json.dumps(operations).encode()).decode()
    return {"resourceType": "Binary", "contentType": kind, "data": data}


@pytest.mark.parametrize("kind", ["transaction", "batch"])
def test_a_patch_in_a_bundle(rest: httpx.Client, made: Callable[..., Json], kind: str) -> None:
    dog = made()
    one = {"resource": binary(set_("/active", True)), "request": {"method": "PATCH", "url": f"Patient/{dog['id']}"}}
    whole = {"resourceType": "Bundle", "type": kind, "entry": [one]}
    answer = rest.post("/fhir", json=whole, headers=JSON).json()
    assert answer["entry"][0]["response"]["status"] == "200 OK"
    assert answer["entry"][0]["response"]["etag"] == 'W/"2"'
    assert rest.get(f"/fhir/Patient/{dog['id']}").json()["active"] is True
    one["request"]["ifMatch"] = 'W/"1"'
    stale = rest.post("/fhir", json=whole, headers=JSON)
    assert (
        (stale.status_code == 412) if kind == "transaction" else stale.json()["entry"][0]["response"]["status"] == "412"
    )


def test_a_bad_patch_in_a_bundle_names_its_entry(rest: httpx.Client, made: Callable[..., Json]) -> None:
    dog = made()
    for resource, status in (
        (binary(set_("/active", 1)), 400),
        (binary({"op": "remove", "path": "/gender"}), 422),
        (binary(kind="application/xml-patch+xml"), 400),
        ({"resourceType": "Parameters"}, 400),
        (binary() | {"data": "%%"}, 400),
    ):
        one = {"resource": resource, "request": {"method": "PATCH", "url": f"Patient/{dog['id']}"}}
        answer = rest.post(
            "/fhir", json={"resourceType": "Bundle", "type": "transaction", "entry": [one]}, headers=JSON
        )
        assert answer.status_code == status, answer.text
        assert answer.json()["issue"][0]["expression"][0].startswith("Bundle.entry[0].resource")
    assert rest.get(f"/fhir/Patient/{dog['id']}").json() == dog
