"""L1-L8: what a request may cost is published and held to."""

import httpx
import pytest

from tests.api.conftest import JSON
from tests.conformance.speaking import made, observation, patient, post, refused, sent, total

MIB = 1024 * 1024


def big(size: int) -> bytes:
    return b'{"resourceType":"Patient"}'.ljust(size)


def test_l1_a_body_is_at_most_two_mebibytes(rest: httpx.Client) -> None:
    published(rest, "2 MiB")
    assert (
        rest.post("/fhir/Patient", content=big(2 * MIB), headers=JSON | {"Prefer": "return=minimal"}).status_code == 201
    )
    answer = rest.post("/fhir/Patient", content=big(2 * MIB + 1), headers=JSON)
    refused(answer, 413, "too-long", "too-costly")
    assert answer.headers["connection"] == "close"
    assert total(rest) == 1


def test_l2_a_bundle_is_at_most_ten_mebibytes_of_five_hundred_entries(rest: httpx.Client) -> None:
    published(rest, "500", "10 MiB")
    entry = b'{"resource":' + big(MIB) + b',"request":{"method":"POST","url":"Patient"}}'
    for times, status in [(9, 200), (11, 413)]:
        body = b'{"resourceType":"Bundle","type":"transaction","entry":[' + b",".join([entry] * times) + b"]}"
        assert rest.post("/fhir", content=body, headers=JSON).status_code == status
    refused(sent(rest, *[post(patient())] * 501), 413, "too-costly")
    assert total(rest) == 9


def test_l3_a_page_is_at_most_five_hundred(rest: httpx.Client) -> None:
    published(rest, "500")
    assert sent(rest, *[post(patient())] * 300).status_code == 200
    assert sent(rest, *[post(patient())] * 300).status_code == 200
    for path, usual in [("Patient", 50), ("Patient/_history", 50), ("_history", 50)]:
        assert len(rest.get(f"/fhir/{path}?_count=1000000").json()["entry"]) == 500
        assert len(rest.get(f"/fhir/{path}").json()["entry"]) == usual


def test_l4_an_address_is_at_most_sixteen_kibibytes(rest: httpx.Client) -> None:
    published(rest, "16 KiB")
    assert rest.get("/fhir/Patient?identifier=" + "x" * 16_000).status_code == 200
    refused(rest.get("/fhir/Patient?identifier=" + "x" * 17_000), 413, "too-long", "too-costly")
    refused(rest.get("/fhir/Patient?" + "&".join(["_id=x"] * 201)), 400)
    long = rest.post("/fhir/Patient/_search", data={"identifier": "x" * 17_000})
    assert long.status_code == 200


def test_l5_an_attachment_is_held_by_the_limit_of_its_body(rest: httpx.Client) -> None:
    inline = {"resourceType": "Binary", "contentType": "application/pdf", "data": "QUJD" * (512 * 1024)}
    refused(rest.post("/fhir/Binary", json=inline, headers=JSON), 413, "too-long", "too-costly")
    assert made(rest, inline | {"data": "QUJD" * (384 * 1024)})["data"] == "QUJD" * (384 * 1024)


def test_l6_nesting_is_at_most_sixty_four(rest: httpx.Client) -> None:
    nested = (
        b'{"resourceType":"Patient","extension":' + b'[{"url":"urn:x","extension":' * 40 + b"[]" + b"}]" * 40 + b"}"
    )
    refused(rest.post("/fhir/Patient", content=nested, headers=JSON), 400)
    assert total(rest) == 0


@pytest.mark.parametrize("number", ["1e999", "1e-999", "1" * 5000, "0." + "1" * 5000])
def test_l7_a_number_has_a_sane_size(rest: httpx.Client, number: str) -> None:
    body = b'{"resourceType":"Observation","status":"final","code":{"text":"x"},"valueQuantity":{"value":%s}}'
    refused(rest.post("/fhir/Observation", content=body % number.encode(), headers=JSON), 400)
    assert total(rest, "Observation") == 0


def test_l8_a_chain_has_at_most_two_links(rest: httpx.Client) -> None:
    published(rest, "chain")
    made(rest, observation())
    two = rest.get("/fhir/DiagnosticReport?result.subject:Patient.name=x", headers={"Prefer": "handling=strict"})
    assert two.status_code == 200
    refused(
        rest.get(
            "/fhir/DiagnosticReport?result.has-member:Observation.subject:Patient.general-practitioner:Organization.name=x"
        ),
        400,
    )


def published(rest: httpx.Client, *words: str) -> None:
    """The statement says so."""
    text = rest.get("/fhir/metadata").json()["rest"][0]["documentation"]
    assert all(word in text for word in words), text
