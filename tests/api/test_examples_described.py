"""The examples in the OpenAPI description do what it says they do."""

from typing import Any

from service.api.description import openapi
from service.api.types import READ_ONLY, SERVED
from service.fhir import search, validate
from tests.builders.audited import Open

FHIR = "application/fhir+json"
PATHS = openapi(version="0", parameters=search.parameters)["paths"]
WRITTEN = sorted(set(SERVED) - READ_ONLY)


def example(path: str, method: str = "post") -> Any:
    (content,) = PATHS[path][method]["requestBody"]["content"].values()
    return content["example"]


def test_every_type_that_can_be_written_is_made_changed_patched_and_found(enter: Open) -> None:
    http = enter("records").http
    for type_ in WRITTEN:
        body = example(f"/fhir/{type_}")
        made = http.post(f"/fhir/{type_}", json=body, headers={"Content-Type": FHIR})
        assert made.status_code == 201, (type_, made.text)
        assert body.items() <= made.json().items()
        path, match = f"/fhir/{type_}/{made.json()['id']}", {"If-Match": 'W/"1"'}
        put = http.put(
            path,
            json=example(f"/fhir/{type_}", "put") | {"id": made.json()["id"]},
            headers=match | {"Content-Type": FHIR},
        )
        assert put.status_code == 200, (type_, put.text)
        patch = http.patch(
            path,
            json=example(f"/fhir/{type_}", "patch"),
            headers={"If-Match": put.headers["etag"], "Content-Type": "application/json-patch+json"},
        )
        assert patch.status_code == 200, (type_, patch.text)
        found = http.post(f"/fhir/{type_}/_search", data=example("/fhir/{type}/_search"))
        assert len(found.json()["entry"]) == 1, type_


def test_the_transaction_is_applied(enter: Open) -> None:
    answer = enter("records").http.post("/fhir", json=example("/fhir"), headers={"Content-Type": FHIR})
    assert answer.status_code == 200, answer.text
    assert [entry["response"]["status"][:3] for entry in answer.json()["entry"]] == ["201", "201"]


def test_what_is_said_to_be_needed_is_needed() -> None:
    for type_ in WRITTEN:
        (content,) = PATHS[f"/fhir/{type_}"]["post"]["requestBody"]["content"].values()
        for name in content["schema"]["required"]:
            without = {key: value for key, value in content["example"].items() if key != name}
            assert validate.check(without) != [], (type_, name)
