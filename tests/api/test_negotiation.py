"""What may be sent and asked for: see tests/conformance for its rows over real HTTP."""

import httpx
import pytest

from service.api import media
from service.basics.errors import NotAcceptable

FHIR, PLAIN, TEXT = "application/fhir+json", "application/json", "text/json"


@pytest.mark.parametrize(
    ("accept", "format_", "kind"),
    [
        ("", "", FHIR),
        ("*/*", "", FHIR),
        ("application/*", "", FHIR),
        ("application/json", "", PLAIN),
        ("text/json", "", TEXT),
        ("application/fhir+json; fhirVersion=4.0", "", FHIR),
        ("application/fhir+xml, application/fhir+json;q=0.5", "", FHIR),
        ("application/json;q=0.9, application/fhir+json;q=0.2", "", PLAIN),
        ("text/html,application/xhtml+xml,*/*;q=0.8", "", FHIR),
        ("text/html", "json", FHIR),
        ("text/html", "application/json", PLAIN),
        ("text/html", "application/fhir json", FHIR),  # an unescaped plus
        ("application/fhir+xml", "", None),
        ("application/fhir+json; fhirVersion=5.0", "", None),
        ("application/fhir+json;q=0", "", None),
        ("application/fhir+json", "xml", None),
        ("text/html", "", None),
    ],
)
def test_the_type_of_an_answer(accept: str, format_: str, *, kind: str | None) -> None:
    if kind is None:
        with pytest.raises(NotAcceptable):
            media.answer_type(accept, format_)
    else:
        assert media.answer_type(accept, format_) == f"{kind}; charset=utf-8".encode()


@pytest.mark.parametrize("kind", ["application/fhir+json", "application/json;charset=UTF-8", "text/json"])
def test_every_name_of_json_is_taken(rest: httpx.Client, kind: str) -> None:
    answer = rest.post("/fhir/Patient", content=b'{"resourceType":"Patient"}', headers={"Content-Type": kind})
    assert answer.status_code == 201


def test_answers_are_not_kept_by_those_between(rest: httpx.Client) -> None:
    answer = rest.get("/fhir/Patient")
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "server" not in answer.headers
