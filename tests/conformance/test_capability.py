"""C1-C4: what is declared is there, and what is there is declared."""

from collections.abc import Iterator
from typing import Any

import httpx
import pytest

from service.api.offers import EXAM
from service.api.types import SERVED
from service.fhir import validate
from service.fhir.types import GUARDED
from tests.api import running
from tests.api.conftest import JSON
from tests.conformance.speaking import BASE, refused

# Interactions of a type -> a request of it and the statuses that show that it is there (nothing exists in these tests)
TRIED = {
    "read": ("GET", "/{type}/x", {404}),
    "vread": ("GET", "/{type}/x/_history/1", {404}),
    "update": ("PUT", "/{type}/x", {400}),
    "history-instance": ("GET", "/{type}/x/_history", {404}),
    "history-type": ("GET", "/{type}/_history", {200}),
    "create": ("POST", "/{type}", {400}),
    "search-type": ("GET", "/{type}", {200}),
    "delete": ("DELETE", "/{type}/x", {200, 204}),
    "patch": ("PATCH", "/{type}/x", {400, 404, 405, 415}),
}
VALUES = {
    "token": "true",
    "reference": "x",
    "date": "2026-11-25",
    "string": "x",
    "uri": "urn:x",
    "number": "1",
    "quantity": "1",
    "composite": "x$2026",
}
STRICT = {"Prefer": "handling=strict"}


@pytest.fixture(scope="module")
def statement(url: str) -> dict[str, Any]:
    with running.client(url) as nobody:
        answer = nobody.get("/fhir/metadata")
    assert answer.status_code == 200
    return dict(answer.json())


@pytest.fixture(scope="module")
def types(statement: dict[str, Any]) -> list[dict[str, Any]]:
    return list(statement["rest"][0]["resource"])


def test_c1_the_statement_says_what_it_must_to_anyone(statement: dict[str, Any]) -> None:
    assert {"status", "date", "format"} <= statement.keys()
    assert (statement["fhirVersion"], statement["kind"]) == ("4.0.1", "instance")
    assert statement["implementation"]["url"] == BASE
    assert {one["type"] for one in statement["rest"][0]["resource"]} >= set(SERVED)
    assert validate.check(statement) == []


def test_c1_its_etag_changes_when_it_does(rest: httpx.Client) -> None:
    first = rest.get("/fhir/metadata")
    again = rest.get("/fhir/metadata", headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert rest.get("/fhir/metadata", headers={"If-None-Match": 'W/"old"'}).status_code == 200
    assert rest.get("/fhir/metadata?mode=terminology").status_code == 400
    assert rest.get("/fhir/metadata?mode=full").content == first.content


def test_c2_every_declared_interaction_is_there_and_no_other(rest: httpx.Client, types: list[dict[str, Any]]) -> None:
    for one in types:
        declared = {each["code"] for each in one["interaction"]}
        for code, (method, path, there) in TRIED.items():
            url = "/fhir" + path.replace("{type}", one["type"])
            body: list[str] | None = [] if method in {"POST", "PUT", "PATCH"} else None  # nobody stores a list
            answer = rest.request(method, url, json=body)
            if code in declared:
                assert answer.status_code in there, (method, url, answer.text)
            else:
                assert answer.status_code == 405, (method, url, answer.text)
                assert method not in answer.headers["allow"]


def test_c2_the_systems_own_interactions_are_the_declared_ones(rest: httpx.Client, statement: dict[str, Any]) -> None:
    declared = {one["code"] for one in statement["rest"][0]["interaction"]}
    bundle = {"resourceType": "Bundle"}
    tried = {
        "history-system": ("GET", "/_history", None),
        "search-system": ("GET", "?_type=Patient", None),
        "transaction": ("POST", "", bundle | {"type": "transaction"}),
        "batch": ("POST", "", bundle | {"type": "batch"}),
    }
    assert declared <= tried.keys()
    for code, (method, path, body) in tried.items():
        answer = rest.request(method, f"/fhir{path}", json=body, headers=JSON)
        assert answer.status_code == (200 if code in declared else 405), (code, answer.text)
    for method in ("PUT", "PATCH", "DELETE"):
        for path in ("", "/metadata", "/_history"):
            answer = rest.request(method, f"/fhir{path}", json=bundle, headers=JSON)
            assert answer.status_code == 405
            assert method not in answer.headers["allow"]


def test_c2_every_declared_search_parameter_is_understood(rest: httpx.Client, types: list[dict[str, Any]]) -> None:
    tried = 0
    for one in types:
        for parameter in one.get("searchParam", []):
            query = {parameter["name"]: "x" if parameter["name"] == "_id" else VALUES[parameter["type"]]}
            answer = rest.get(f"/fhir/{one['type']}", params=query, headers=STRICT)
            assert answer.status_code == 200, (one["type"], query, answer.text)
            tried += 1
        assert rest.get(f"/fhir/{one['type']}?no-such-parameter=1", headers=STRICT).status_code == 400
    assert tried > 200


def test_c2_whatever_is_declared_to_come_along_is_understood(rest: httpx.Client, types: list[dict[str, Any]]) -> None:
    tried = 0
    for one in types:
        for name, declared in (("_include", "searchInclude"), ("_revinclude", "searchRevInclude")):
            values = one.get(declared, [])
            for start in range(0, len(values), 25):  # one page of many wishes
                query = [(name, value) for value in values[start : start + 25]]
                answer = rest.get(f"/fhir/{one['type']}", params=query, headers=STRICT)
                assert answer.status_code == 200, (one["type"], query, answer.text)
            tried += len(values)
            wrong = rest.get(f"/fhir/{one['type']}", params={name: f"{one['type']}:nonsense"}, headers=STRICT)
            assert wrong.status_code == 400, one["type"]
    assert tried > 500


def test_c2_every_value_that_the_description_offers_is_understood(rest: httpx.Client) -> None:
    tried = 0
    for path, operations in rest.get("/openapi.json").json()["paths"].items():
        offered = operations.get("get", {}).get("parameters", []) if path.count("/") == 2 else []
        for one in offered:
            for query in _offered(one):
                answer = rest.get(path, params=query, headers=STRICT)
                assert answer.status_code == 200, (path, query, answer.text)
                tried += 1
    assert tried > 400


def _offered(parameter: dict[str, Any]) -> Iterator[list[tuple[str, str]]]:
    """Queries that together hold every value that a parameter of the description lists."""
    name, schema = parameter["name"], parameter["schema"]
    values = schema.get("items", schema).get("enum", [])
    most = schema.get("maxItems", 1)
    for some in (values[start : start + most] for start in range(0, len(values), most)):
        yield [(name, one) for one in some] if parameter.get("explode") else [(name, ",".join(some))]


def test_c2_every_declared_operation_is_there(rest: httpx.Client, types: list[dict[str, Any]]) -> None:
    declared = {(one["type"], each["name"]) for one in types for each in one.get("operation", [])}
    assert {("Task", name) for name in EXAM} | {(type_, "validate") for type_ in SERVED} <= declared
    for type_, name in sorted(declared):
        answers = [
            rest.request(method, f"/fhir/{type_}{at}/${name}", json=body, headers=JSON)
            for at in ("/x", "")
            for method, body in (("POST", {"resourceType": "Parameters"}), ("GET", None))
        ]
        assert all(answer.status_code < 500 for answer in answers)
        assert any("not-supported" not in answer.text for answer in answers), (type_, name)
    for path in ("/fhir/Patient/x/$finish", "/fhir/Task/x/$weigh", "/fhir/Task/$finish", "/fhir/$finish"):
        assert rest.post(path, json={"resourceType": "Parameters"}, headers=JSON).status_code == 404


def test_c3_what_is_declared_of_a_type_is_how_it_behaves(rest: httpx.Client, types: list[dict[str, Any]]) -> None:
    for one in types:
        writable = "create" in {each["code"] for each in one["interaction"]}
        assert (one["versioning"] == "versioned-update") is (one["type"] in GUARDED)
        assert one["updateCreate"] is False
        assert one["conditionalCreate"] is one["conditionalUpdate"] is writable
        history = rest.get(f"/fhir/{one['type']}/_history").status_code
        assert (history == 200) is one["readHistory"], one["type"]
        deleted = rest.delete(f"/fhir/{one['type']}?identifier=urn:x|none").status_code
        assert (deleted == 405) is (one["conditionalDelete"] == "not-supported"), one["type"]


def test_c4_a_part_of_the_statement(rest: httpx.Client) -> None:
    whole = rest.get("/fhir/metadata").json()
    part = rest.get("/fhir/metadata?_elements=fhirVersion,rest").json()
    assert part["rest"] == whole["rest"]
    assert part["fhirVersion"] == whole["fhirVersion"]
    assert "software" not in part
    assert {one["code"] for one in part["meta"]["tag"]} == {"SUBSETTED"}
    short = rest.get("/fhir/metadata?_summary=true").json()
    assert short["fhirVersion"] == "4.0.1"
    assert len(str(short)) < len(str(whole))
    assert rest.get("/fhir/metadata?_summary=false").json() == whole
    assert "rest" not in rest.get("/fhir/metadata?_summary=text").json()
    tags = {rest.get(f"/fhir/metadata{query}").headers["etag"] for query in ("", "?_summary=true", "?_elements=date")}
    assert len(tags) == 3
    for wrong in ("_summary=perhaps", "_elements=colour"):
        refused(rest.get(f"/fhir/metadata?{wrong}"), 400)
