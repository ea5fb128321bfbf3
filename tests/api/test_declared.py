"""The description names what is offered, and the files of openapi/ are what the program writes."""

import json
from pathlib import Path
from typing import Any

import pytest

from service.api import offers
from service.api.description import documents
from service.api.offers import PLACES
from service.api.types import SERVED
from service.fhir import search, validate
from service.fhir.types import DEFINITIONS
from tests.api.conftest import Place

ROOT = Path(__file__).parents[2]


def test_what_is_served_can_be_checked_and_searched() -> None:
    assert set(SERVED) - DEFINITIONS <= validate.TYPES
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
