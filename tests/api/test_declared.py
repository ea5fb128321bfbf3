"""What is declared is offered, and what is offered is declared: rows C1-C4, and the files of openapi/."""

import json
from pathlib import Path
from typing import Any

import httpx
import pytest

from service.api import offers
from service.api.description import documents
from service.api.offers import EXAM, PLACES
from service.api.types import GUARDED, READ_ONLY, SERVED
from service.fhir import search, validate
from tests.api.conftest import JSON, Place

ROOT = Path(__file__).parents[2]
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
    "patch": ("PATCH", "/{type}/x", {404}),
}


@pytest.fixture(scope="module")
def statement(place: Place) -> dict[str, Any]:
    with place.client() as nobody:
        answer = nobody.get("/fhir/metadata")
    assert answer.status_code == 200
    return dict(answer.json())


def test_c1_the_statement_says_what_it_must(statement: dict[str, Any]) -> None:
    assert statement["fhirVersion"] == "4.0.1"
    assert statement["kind"] == "instance"
    assert statement["implementation"]["url"] == "http://sonoledger.example/fhir"
    assert [one["type"] for one in statement["rest"][0]["resource"]] == list(SERVED)
    assert validate.check(statement) == []


def test_c1_its_etag_changes_when_it_does(place: Place, rest: httpx.Client) -> None:
    first = rest.get("/fhir/metadata")
    again = rest.get("/fhir/metadata", headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert rest.get("/fhir/metadata", headers={"If-None-Match": 'W/"old"'}).status_code == 200
    assert rest.get("/fhir/metadata?mode=terminology").status_code == 400
    assert rest.get("/fhir/metadata?mode=full").content == first.content


def test_c2_every_declared_interaction_is_there_and_no_other(rest: httpx.Client, statement: dict[str, Any]) -> None:
    for one in statement["rest"][0]["resource"]:
        declared = {each["code"] for each in one["interaction"]}
        for code, (method, path, there) in TRIED.items():
            url = "/fhir" + path.replace("{type}", one["type"])
            body: list[str] | None = [] if method in {"POST", "PUT", "PATCH"} else None  # nobody stores a list
            answer = rest.request(method, url, json=body)
            assert answer.status_code < 500
            if code in declared:
                assert answer.status_code in there, (method, url, answer.text)
            else:
                assert answer.status_code == 405, (method, url)
                assert method not in answer.headers["allow"]


def test_c3_versioning_says_where_if_match_is_needed(statement: dict[str, Any]) -> None:
    for one in statement["rest"][0]["resource"]:
        assert (one["versioning"] == "versioned-update") is (one["type"] in GUARDED)
        kept = one["type"] not in READ_ONLY
        assert one["readHistory"] is one["conditionalCreate"] is one["conditionalUpdate"] is kept
        assert one["updateCreate"] is False


def test_c2_every_declared_search_parameter_is_understood(rest: httpx.Client, statement: dict[str, Any]) -> None:
    values = {
        "token": "true",
        "reference": "x",
        "date": "2026-11-25",
        "string": "x",
        "uri": "urn:x",
        "number": "1",
    }
    strict = {"Prefer": "handling=strict"}
    tried = 0
    for one in statement["rest"][0]["resource"]:
        for parameter in one.get("searchParam", []):
            query = {parameter["name"]: "x" if parameter["name"] == "_id" else values[parameter["type"]]}
            answer = rest.get(f"/fhir/{one['type']}", params=query, headers=strict)
            assert answer.status_code == 200, (one["type"], query, answer.text)
            tried += 1
        assert rest.get(f"/fhir/{one['type']}?no-such-parameter=1", headers=strict).status_code == 400
    assert tried > 200


def test_c2_every_declared_operation_is_there(rest: httpx.Client, statement: dict[str, Any]) -> None:
    for one in statement["rest"][0]["resource"]:
        for operation in one["operation"]:
            at = "/x" if operation["name"] in EXAM else ""
            url = f"/fhir/{one['type']}{at}/${operation['name']}"
            assert rest.post(url, json={"resourceType": "Parameters"}, headers=JSON).status_code in {400, 409, 422, 500}
    declared = {each["name"] for one in statement["rest"][0]["resource"] for each in one["operation"]}
    assert declared == {"validate", *EXAM}


def test_what_is_served_can_be_checked_and_searched() -> None:
    assert set(SERVED) <= validate.TYPES
    assert all(search.parameters(type_) for type_ in SERVED)


def test_the_description_names_every_offer() -> None:
    described = json.loads(documents()["openapi.json"])
    assert described["openapi"] == "3.1.0"
    operations = [(path, method) for path, methods in described["paths"].items() for method in methods]
    names = [described["paths"][path][method]["operationId"] for path, method in operations]
    assert len(names) == len(set(names))
    for template, offered in PLACES.items():
        for type_ in SERVED if "{type}" in template else [""]:
            for method in offered:
                if method not in offers.methods(template, type_):
                    continue
                spelt = {f"/fhir{template}", f"/fhir{template.replace('{type}', type_)}"}
                assert any(method.lower() in described["paths"].get(path, {}) for path in spelt), (template, method)


def test_every_reference_inside_the_description_resolves() -> None:
    described = json.loads(documents()["openapi.json"])

    def references(value: object) -> list[str]:
        if isinstance(value, dict):
            own = [value["$ref"]] if isinstance(value.get("$ref"), str) else []
            return own + [one for inner in value.values() for one in references(inner)]
        return [one for inner in value for one in references(inner)] if isinstance(value, list) else []

    found = set(references(described))
    assert found
    for reference in found:
        at: Any = described
        for part in reference.removeprefix("#/").split("/"):
            at = at[part]


@pytest.mark.parametrize("file", ["openapi.json", "capability.json"])
def test_the_files_of_openapi_are_what_is_offered(file: str) -> None:
    kept = (ROOT / "openapi" / file).read_bytes()
    assert kept == documents()[file], "run `sonoledger openapi` and look at what changed"


def test_the_pages_are_whole_and_fetch_nothing_from_elsewhere(place: Place) -> None:
    with place.client() as nobody:
        page = nobody.get("/docs")
        assert page.status_code == 200
        assert page.headers["content-type"] == "text/html; charset=utf-8"
        assert "default-src 'none'" in page.headers["content-security-policy"]
        for part in ("/docs/docs.js", "/docs/docs.css", "/openapi.json"):
            assert part in page.text
            answer = nobody.get(part)
            assert answer.status_code == 200
            assert (
                "http://" not in answer.text.replace("http://hl7.org/fhir", "").replace("http://sonoledger", "")
                or part == "/openapi.json"
            )
            assert nobody.head(part).content == b""
        served = nobody.get("/openapi.json").json()
        assert served["paths"].keys() == json.loads(documents()["openapi.json"])["paths"].keys()


def test_probes_tell_what_they_should_and_no_more(place: Place) -> None:
    with place.client() as nobody:
        assert nobody.get("/livez").json() == {"status": "alive"}
        assert nobody.get("/readyz").json() == {"status": "ready"}
