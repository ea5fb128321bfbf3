"""The forms of reports that came from elsewhere: given as files, never trusted."""

from base64 import b64encode
from typing import Any

import httpx
import pytest

from tests.api.conftest import JSON

PAGE = b"<html><script>alert(1)</script></html>"


def stored(rest: httpx.Client, *forms: dict[str, Any]) -> str:
    """The address of a foreign report with these forms."""
    report: dict[str, Any] = {"resourceType": "DiagnosticReport", "status": "final", "code": {"text": "x"}}
    report |= {"presentedForm": list(forms)} if forms else {}
    answer = rest.post("/fhir/DiagnosticReport", json=report, headers=JSON)
    assert answer.status_code == 201, answer.text
    return f"/fhir/DiagnosticReport/{answer.json()['id']}"


@pytest.mark.parametrize("media", ["text/html", "text/html; charset=utf-8", "text/html\tx-evil: 1"])
def test_a_foreign_page_is_locked_and_its_type_is_ours(rest: httpx.Client, media: str) -> None:
    where = stored(rest, {"contentType": media, "data": b64encode(PAGE).decode()})
    answer = rest.get(f"{where}/$form?kind=page", headers={"Accept": "*/*"})
    assert (answer.status_code, answer.content) == (200, PAGE)
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert "sandbox" in answer.headers["content-security-policy"]
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "x-evil" not in answer.headers


def test_what_is_not_there_is_said(rest: httpx.Client) -> None:
    where = stored(rest, {"contentType": "application/pdf", "url": "https://elsewhere.example/x.pdf"})
    assert rest.get(f"{where}/$form").status_code == 404
    assert rest.get(f"{where}/$form?kind=page").status_code == 404
    assert rest.get(f"{where}/$form?version=0").status_code == 400
    assert rest.get(f"{where}/$form?version=9").status_code == 404


def test_a_foreign_report_is_no_document_of_ours(rest: httpx.Client) -> None:
    answer = rest.get(f"{stored(rest)}/$as-document")
    assert answer.status_code == 422
    assert "issued here" in answer.json()["issue"][0]["details"]["text"]


@pytest.mark.parametrize(
    ("accept", "kind"),
    [
        ("application/fhir+json", "application/fhir+json"),
        ("application/json", "application/fhir+json"),
        ("application/pdf", "application/pdf"),
        ("application/pdf, application/json;q=0.1", "application/pdf"),
        ("*/*", "application/pdf"),
        ("image/png", "application/pdf"),
    ],
)
def test_who_asks_for_json_gets_a_binary_and_everybody_else_the_file(
    rest: httpx.Client, accept: str, kind: str
) -> None:
    where = stored(rest, {"contentType": "application/pdf", "data": b64encode(b"%PDF-").decode()})
    answer = rest.get(f"{where}/$form", headers={"Accept": accept})
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith(kind)
