"""Tokens and scopes: no token, no answer; and no more than was granted."""

from collections.abc import Callable
from typing import Any

import httpx
import pytest

from service.access import scopes, tokens
from service.access.keyring import SECONDS, Bearer, Keyring
from service.basics.errors import Invalid, Unrecognised
from tests.api.conftest import Place

PATHS = [
    ("GET", "/fhir/Patient/x"),
    ("GET", "/fhir/Patient"),
    ("POST", "/fhir/Patient"),
    ("PUT", "/fhir/Patient/x"),
    ("DELETE", "/fhir/Patient/x"),
    ("PATCH", "/fhir/Patient/x"),
    ("POST", "/fhir"),
    ("GET", "/fhir/_history"),
    ("GET", "/fhir/Patient/x/_history/1"),
    ("POST", "/fhir/Task/x/$finish"),
    ("POST", "/fhir/Patient/$validate"),
    ("GET", "/fhir/NoSuchType/x"),
    ("GET", "/metrics"),
]
BAD = [
    "",
    "Bearer",
    "Bearer x",
    "Basic dXNlcjpwYXNz",
    "Bearer " + "x" * 43,
    "Bearer " + "x" * 44,
    "bearer\t" + "y" * 43,
]


@pytest.mark.parametrize(("method", "path"), PATHS)
@pytest.mark.parametrize("header", BAD)
def test_no_token_no_answer(place: Place, *, method: str, path: str, header: str) -> None:
    with place.client() as nobody:
        answer = nobody.request(method, path, headers={"Authorization": header} if header else {})
        assert answer.status_code == 401
        assert answer.headers["www-authenticate"].startswith("Bearer")
        assert answer.json()["issue"][0]["code"] == "login"


def test_probes_and_metadata_are_public(place: Place) -> None:
    with place.client() as nobody:
        for path in ("/livez", "/readyz", "/fhir/metadata"):
            assert nobody.get(path).status_code == 200


def test_a_revoked_token_is_refused_within_seconds(place: Place) -> None:
    now = [0.0]
    row = Bearer("x", "records", ("system/*.r",), "label")
    known = {tokens.fingerprint("t"): row}
    ring = Keyring(known.get, clock=lambda: now[0])
    assert ring.remembered("t") is None
    assert ring.bearer("t") is row
    known.clear()
    now[0] = SECONDS - 0.1
    assert ring.remembered("t") is row
    now[0] = SECONDS
    assert ring.remembered("t") is None
    with pytest.raises(Unrecognised):
        ring.bearer("t")


def test_a_short_token_ends_on_time_also_where_it_is_remembered() -> None:
    row = Bearer("x", "records", ("system/*.r",), "label", until=100.0)
    now = [99.9]
    ring = Keyring(lambda _: row, clock=lambda: 0.0, now=lambda: now[0])
    assert ring.bearer("t") is row
    assert ring.remembered("t") is row
    now[0] = 100.0
    assert ring.remembered("t") is None


def test_tokens_are_256_random_bits_and_kept_only_as_a_digest() -> None:
    made = {tokens.new_token() for _ in range(1000)}
    assert len(made) == 1000
    assert all(len(one) == 43 for one in made)  # 43 base64url characters hold 258 bits
    one = made.pop()
    assert one not in tokens.fingerprint(one)
    assert tokens.bearer(f"Bearer {one}") == one


# SMART App Launch 2, "Scopes for requesting FHIR resources": letters in order; words of version 1 stand for letters
@pytest.mark.parametrize(
    ("scope", "type_", "granted"),
    [
        ("system/Observation.cruds", "Observation", "cruds"),
        ("system/Observation.rs", "Observation", "rs"),
        ("system/*.r", "Observation", "r"),
        ("system/Patient.cruds", "Observation", ""),
        ("system/Observation.read", "Observation", "rs"),
        ("system/Observation.write", "Observation", "cud"),
        ("system/Observation.*", "Observation", "cruds"),
        ("system/Observation.dus", "Observation", ""),
        ("system/Observation.", "Observation", ""),
        ("system/Observation.rs?category=imaging", "Observation", "rs"),  # of a part: see test_narrowed.py
        ("system/Observation.rs?", "Observation", ""),
        ("system/Observation.rs?category=", "Observation", ""),
        ("user/Observation.rs", "Observation", ""),
        ("patient/Observation.rs", "Observation", ""),
        ("system/Observation.read.write", "Observation", ""),
        ("system/Observation.rs\n", "Observation", ""),
        ("system/Patient.cruds", "*", ""),
        ("system/*.s", "*", "s"),
    ],
)
def test_what_a_scope_grants(*, scope: str, type_: str, granted: str) -> None:
    assert "".join(letter for letter in "cruds" if scopes.allows((scope,), type_, letter)) == granted


def test_scopes_add_up_and_bad_ones_are_all_named() -> None:
    assert scopes.checked(["system/Task.r", "system/Flag.c", "system/Task.r"]) == ("system/Flag.c", "system/Task.r")
    with pytest.raises(Invalid) as refusal:
        scopes.checked(["system/Flag.rc", "launch", "system/Flag.r"])
    assert len(refusal.value.faults) == 2
    with pytest.raises(Invalid):
        scopes.checked([])


@pytest.mark.parametrize(
    ("scope", "method", "path"),
    [
        ("system/Patient.uds", "POST", "/fhir/Patient"),
        ("system/Patient.cuds", "GET", "/fhir/Patient/x"),
        ("system/Patient.cds", "PUT", "/fhir/Patient/x"),
        ("system/Patient.cru", "GET", "/fhir/Patient"),
        ("system/Patient.cru", "POST", "/fhir/Patient/_search"),
        ("system/Patient.cru", "GET", "/fhir/Patient/_history"),
        ("system/Patient.cuds", "GET", "/fhir/Patient/x/_history"),
        ("system/Patient.cuds", "GET", "/fhir/Patient/x/_history/1"),
        ("system/Patient.cruds", "GET", "/fhir/_history"),
        ("system/Observation.cruds", "GET", "/fhir/Patient/x"),
        ("system/Task.cr", "POST", "/fhir/Task/x/$finish"),
        ("system/Observation.cruds", "POST", "/fhir/Patient/$validate"),
    ],
)
def test_beyond_its_scope_a_token_is_forbidden(place: Place, name: str, *, scope: str, method: str, path: str) -> None:
    with place.client(place.token(name, scope)) as narrow:
        body = {"resourceType": "Patient", "id": "x"} if method in {"POST", "PUT"} and "_search" not in path else None
        headers = {"Content-Type": "application/x-www-form-urlencoded"} if "_search" in path else {}
        answer = narrow.request(method, path, json=body, headers=headers)
        assert answer.status_code == 403, answer.text
        assert answer.json()["issue"][0]["code"] == "forbidden"


def test_the_token_is_in_no_answer(place: Place, name: str) -> None:
    token = place.token(name)
    with place.client(token) as client:
        for answer in (client.get("/fhir/Patient"), client.get("/fhir/Patient/x"), client.get("/metrics")):
            assert token not in answer.text + str(httpx.Headers(answer.headers))


def test_another_organisation_sees_nothing(place: Place, stored: Callable[..., dict[str, Any]]) -> None:
    one = stored()
    with place.client(place.token("records-of-others")) as other:
        foreign = other.get(f"/fhir/Patient/{one['id']}")
        unknown = other.get("/fhir/Patient/018f2c50-0000-7000-8000-000000000000")
        assert foreign.status_code == unknown.status_code == 404
        assert foreign.text.replace(str(one["id"]), "") == unknown.text.replace(
            "018f2c50-0000-7000-8000-000000000000", ""
        )
        assert other.get("/fhir/Patient").json().get("entry", []) == []
        assert other.get(f"/fhir/Patient/{one['id']}/_history").status_code == 404
        assert other.get(f"/fhir/Patient/{one['id']}/_history/1").status_code == 404
