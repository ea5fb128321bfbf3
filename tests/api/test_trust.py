"""SMART Backend Services over HTTP: who proves what he is gets a short token; every other way in is shut."""

import json
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx
import jwt
import pytest
from joserfc import jwk
from joserfc import jwt as jose
from jwt.utils import base64url_encode

from service.access import scopes, tokens
from service.access.assertion import key_set
from service.basics.errors import Invalid
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.joined import application
from service.store import SqlBooks
from tests.api import running
from tests.api.conftest import Place
from tests.builders.assertions import Program, ec_key, form, public, registered, rsa_key
from tests.builders.assertions import key_set as keys_of

BASE = "http://sonoledger.example/fhir"
TOKEN = "/fhir/oauth/token"


@pytest.fixture
def program(place: Place, name: str) -> Program:
    place.token(name)
    return registered(place.books, name, base=BASE)


@pytest.fixture(scope="module")
def door(place: Place) -> Iterator[httpx.Client]:
    with httpx.Client(base_url=place.url, timeout=20) as client:
        yield client


def test_the_configuration_says_what_smart_asks_for(door: httpx.Client) -> None:
    # SMART App Launch 2.2, "Conformance": token_endpoint, grant_types_supported, capabilities and
    # code_challenge_methods_supported are required; S256 is to be in it and plain is not
    told = door.get("/fhir/.well-known/smart-configuration")
    assert told.headers["content-type"] == "application/json"
    found = told.json()
    assert found["token_endpoint"] == f"{BASE}/oauth/token"
    assert found["grant_types_supported"] == ["client_credentials"]
    assert found["code_challenge_methods_supported"] == ["S256"]
    assert found["token_endpoint_auth_signing_alg_values_supported"] == ["RS384", "ES384"]
    assert {"client-confidential-asymmetric", "permission-v1", "permission-v2"} == set(found["capabilities"])
    assert all(scopes.understood(one) for one in found["scopes_supported"])
    security = door.get("/fhir/metadata").json()["rest"][0]["security"]
    assert security["service"][0]["coding"][0]["code"] == "SMART-on-FHIR"
    assert security["extension"][0]["extension"][0]["valueUri"] == found["token_endpoint"]


@pytest.mark.parametrize("algorithm", ["RS384", "ES384"])
def test_a_proven_client_gets_a_token_for_five_minutes(
    place: Place, door: httpx.Client, program: Program, *, algorithm: str
) -> None:
    answer = door.post(TOKEN, data=form(program.assertion(algorithm), "system/Patient.rs system/Task.read"))
    assert answer.status_code == 200, answer.text
    assert answer.headers["cache-control"] == "no-store"
    told = answer.json()
    assert (told["token_type"], told["expires_in"]) == ("bearer", 300)
    assert told["scope"] == "system/Patient.rs system/Task.read"  # version 1 comes back as it was asked for
    with place.client(told["access_token"]) as client:
        assert client.get("/fhir/Patient").status_code == 200
        assert client.get("/fhir/Task/none").status_code == 404
        assert client.post("/fhir/Patient", json={"resourceType": "Patient"}).status_code == 403
        assert client.get("/fhir/Observation").status_code == 403


def test_what_joserfc_signs_opens_as_well(door: httpx.Client, program: Program) -> None:
    key = jwk.ECKey.import_key(ec_key())
    signed = jose.encode({"alg": "ES384", "kid": "ec", "typ": "JWT"}, program.claims(), key, algorithms=["ES384"])
    assert door.post(TOKEN, data=form(signed)).status_code == 200


def unsigned(program: Program) -> str:
    parts = [{"alg": "none", "kid": "rsa"}, program.claims()]
    return ".".join([base64url_encode(json.dumps(one).encode()).decode() for one in parts]) + "."


def by_text(program: Program, text: bytes) -> str:
    """An HMAC over the public key's own text: what takes alg from the token would call it a signature."""
    head, body = {"alg": "HS384", "kid": "rsa"}, program.claims()
    signing = ".".join(base64url_encode(json.dumps(one).encode()).decode() for one in (head, body))
    made = jwt.algorithms.HMACAlgorithm(jwt.algorithms.HMACAlgorithm.SHA384).sign(signing.encode(), text)
    return f"{signing}.{base64url_encode(made).decode()}"


def pem() -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat  # noqa: PLC0415  # one test's

    return rsa_key().public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)


def der() -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat  # noqa: PLC0415  # as above

    return rsa_key().public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)


# RFC 7515 10.1, RFC 8725 3.1 to 3.10 (JWT best practice), SMART App Launch 2 "Client confidential asymmetric"
BAD: dict[str, Callable[[Program], str]] = {
    "no JWT": lambda p: "x",
    "two parts": lambda p: p.assertion().rpartition(".")[0],
    "five parts, as encrypted ones have": lambda p: f"{p.assertion()}.x.y",
    "not base64": lambda p: f"!{p.assertion()}",
    "a head that is a list": lambda p: base64url_encode(b"[]").decode() + "." + p.assertion().split(".", 1)[1],
    "alg none": unsigned,
    "HMAC by the PEM": lambda p: by_text(p, pem()),
    "HMAC by the DER": lambda p: by_text(p, der()),
    "HMAC by the JWK": lambda p: by_text(p, json.dumps(public(rsa_key(), "rsa")).encode()),
    "RS256": lambda p: p.assertion("RS256"),
    "PS384": lambda p: p.assertion("PS384", key=rsa_key(), head={"kid": "rsa"}),
    "ES256": lambda p: p.assertion("ES256", key=ec_key("secp256r1")),
    "another's key": lambda p: p.assertion(key=rsa_key(2048, 1)),
    "a key of its own in the head": lambda p: p.assertion(
        key=rsa_key(2048, 1), head={"jwk": public(rsa_key(2048, 1), "rsa")}
    ),
    "an unregistered jku": lambda p: p.assertion(head={"jku": "https://keys.example/jwks.json"}),
    "crit": lambda p: p.assertion(head={"crit": ["exp"]}),
    "another typ": lambda p: p.assertion(head={"typ": "at+jwt"}),
    "no kid": lambda p: p.assertion(head={"kid": ""}),
    "an unknown kid": lambda p: p.assertion(head={"kid": "other"}),
    "a path for a kid": lambda p: p.assertion(head={"kid": "../../etc/passwd"}),
    "the kid of the other kind": lambda p: p.assertion(head={"kid": "ec"}),
    "a changed claim": lambda p: _swapped(p),
    "an unknown issuer": lambda p: p.assertion(iss="nobody", sub="nobody"),
    "an issuer with NUL": lambda p: p.assertion(iss="a\0b", sub="a\0b"),
    "iss is not sub": lambda p: p.assertion(sub="another"),
    "no sub": lambda p: p.assertion(sub=None),
    "another audience": lambda p: p.assertion(aud="https://elsewhere.example/token"),
    "the base for an audience": lambda p: p.assertion(aud=BASE),
    "no audience": lambda p: p.assertion(aud=None),
    "expired": lambda p: p.assertion(exp=int(time.time()) - 61),
    "six minutes ahead": lambda p: p.assertion(exp=int(time.time()) + 360),
    "no exp": lambda p: p.assertion(exp=None),
    "exp as text": lambda p: p.assertion(exp=str(int(time.time()) + 100)),
    "exp without end": lambda p: p.assertion(exp=10**30),
    "not good yet": lambda p: p.assertion(nbf=int(time.time()) + 120),
    "issued later": lambda p: p.assertion(iat=int(time.time()) + 120),
    "no jti": lambda p: p.assertion(jti=None),
    "a long jti": lambda p: p.assertion(jti="x" * 256),
    "too long": lambda p: p.assertion(more="x" * 9000),
}


def _swapped(program: Program) -> str:
    head, _, sign = program.assertion().split(".")
    return f"{head}.{base64url_encode(json.dumps(program.claims()).encode()).decode()}.{sign}"


def signed(program: Program, what: str) -> str:
    try:
        return BAD[what](program)
    except (TypeError, jwt.exceptions.PyJWTError) as refused:  # PyJWT checks some of what it is given by itself
        pytest.fail(f"{what}: {refused}")


def test_what_proves_nothing_opens_nothing(door: httpx.Client, program: Program) -> None:
    for what in BAD:
        text = signed(program, what)
        answer = door.post(TOKEN, data=form(text))
        assert answer.status_code == 401, (what, answer.text)
        assert answer.json()["error"] == "invalid_client", what
        assert "access_token" not in answer.text
        assert not any(part in answer.text for part in text.split(".") if len(part) > 8), what


def test_an_assertion_opens_once(place: Place, door: httpx.Client, program: Program) -> None:
    used = program.assertion()
    assert door.post(TOKEN, data=form(used)).status_code == 200
    again = door.post(TOKEN, data=form(used))
    assert (again.status_code, again.json()["error"]) == (401, "invalid_client")
    # the number is another's to use: SMART asks that a jti be new for its issuer
    other = registered(place.books, program.organization, base=BASE)
    assert door.post(TOKEN, data=form(other.assertion(jti="one"))).status_code == 200
    assert door.post(TOKEN, data=form(program.assertion(jti="one"))).status_code == 200


def test_of_callers_at_once_with_one_assertion_one_gets_a_token(place: Place, program: Program) -> None:
    # two applications with a database between them, as two processes are
    second = application(place.books, load(read_folder()), base=BASE)
    used = program.assertion()
    with running.served(second) as other, ThreadPoolExecutor(12) as callers:
        urls = [place.url, other] * 6
        found = list(callers.map(lambda url: httpx.post(url + TOKEN, data=form(used), timeout=30).status_code, urls))
    assert sorted(found) == [200] + [401] * 11


@pytest.mark.parametrize(
    ("changed", "status", "error"),
    [
        ({"grant_type": "authorization_code"}, 400, "unsupported_grant_type"),
        ({"grant_type": ""}, 400, "unsupported_grant_type"),
        ({"client_assertion_type": "urn:x"}, 400, "invalid_request"),
        ({"client_assertion": ""}, 400, "invalid_request"),
        ({"scope": ""}, 400, "invalid_scope"),
        ({"scope": "system/*.cruds"}, 400, "invalid_scope"),
        ({"scope": "system/Patient.u"}, 400, "invalid_scope"),
        ({"scope": "system/Patient.sr"}, 400, "invalid_scope"),
        ({"scope": "system/Patient.write"}, 400, "invalid_scope"),
        ({"scope": "patient/Patient.rs"}, 400, "invalid_scope"),
        ({"scope": "system/Patient.rs launch"}, 400, "invalid_scope"),
        ({"scope": "system/*.rs"}, 400, "invalid_scope"),
        ({"client_id": "another"}, 401, "invalid_client"),
    ],
)
def test_refusals_have_the_names_of_oauth(
    place: Place, door: httpx.Client, name: str, *, changed: dict[str, str], status: int, error: str
) -> None:
    place.token(name)
    program = registered(place.books, name, "system/Patient.rs", "system/Task.cruds", base=BASE)
    answer = door.post(TOKEN, data=form(program.assertion(), "system/Patient.rs") | changed)
    assert (answer.status_code, answer.json()["error"]) == (status, error), answer.text


def test_the_endpoint_takes_forms_and_nothing_else(door: httpx.Client, program: Program) -> None:
    assert door.get(TOKEN).status_code == 405
    assert door.post(TOKEN, json={"grant_type": "client_credentials"}).json()["error"] == "invalid_request"
    twice = "grant_type=client_credentials&grant_type=client_credentials"
    typed = {"Content-Type": "application/x-www-form-urlencoded"}
    assert door.post(TOKEN, content=twice, headers=typed).json()["error"] == "invalid_request"
    assert door.post(TOKEN, content="a=" + "x" * 20_000, headers=typed).status_code == 413


def test_a_client_that_is_switched_off_is_out_with_all_its_tokens(
    place: Place, door: httpx.Client, program: Program
) -> None:
    token = door.post(TOKEN, data=form(program.assertion())).json()["access_token"]
    name = next(one.name for one in place.books.clients(program.organization) if one.id == program.id)
    assert not place.books.switch_client("another", name, active=False)
    assert place.books.switch_client(program.organization, name, active=False)
    assert door.post(TOKEN, data=form(program.assertion())).status_code == 401
    assert place.books.token(tokens.fingerprint(token)) is None
    assert place.books.switch_client(program.organization, name, active=True)
    assert door.post(TOKEN, data=form(program.assertion())).status_code == 200
    assert place.books.renew_keys(program.organization, name, keys_of(public(ec_key(which=1), "ec")))
    assert door.post(TOKEN, data=form(program.assertion())).status_code == 401
    assert door.post(TOKEN, data=form(program.assertion("ES384", key=ec_key(which=1)))).status_code == 200


FORM = {"Content-Type": "application/x-www-form-urlencoded"}


def test_introspection_and_revocation(place: Place, door: httpx.Client, program: Program) -> None:
    # RFC 7662 2.2 and RFC 7009 2.1, 2.2
    token = door.post(TOKEN, data=form(program.assertion(), "system/Patient.rs")).json()["access_token"]
    asked = {"Authorization": f"Bearer {place.token(program.organization)}"}
    told = door.post("/fhir/oauth/introspect", data={"token": token}, headers=asked).json()
    assert told["active"] is True
    assert (told["scope"], told["client_id"]) == ("system/Patient.rs", program.id)
    assert 0 < told["exp"] - time.time() <= 300
    foreign = {"Authorization": f"Bearer {place.token('records-elsewhere')}"}
    for headers, what in ((foreign, token), (asked, "x" * 43), (asked, "")):
        assert door.post("/fhir/oauth/introspect", data={"token": what}, headers=headers).json() == {"active": False}
    assert door.post("/fhir/oauth/introspect", data={"token": token}).status_code == 401
    without = door.post("/fhir/oauth/introspect", data={}, headers=asked | FORM)
    assert (without.status_code, without.json()["error"]) == (400, "invalid_request"), "RFC 7662, 2.1: REQUIRED"
    other = registered(place.books, program.organization, base=BASE)
    for one in (other, program):
        revoked = form(one.assertion()) | {"token": token}
        assert door.post("/fhir/oauth/revoke", data=revoked).status_code == 200
        active = door.post("/fhir/oauth/introspect", data={"token": token}, headers=asked).json()["active"]
        assert active is (one is other)
    assert door.post("/fhir/oauth/revoke", data={"token": token}).status_code == 400


def test_every_asking_leaves_its_line_and_no_secret(place: Place, program: Program, door: httpx.Client) -> None:
    good = program.assertion()
    told = door.post(TOKEN, data=form(good), headers={"X-Request-Id": "asked-well"}).json()
    door.post(TOKEN, data=form(good), headers={"X-Request-Id": "asked-again"})
    door.post(TOKEN, data=form(program.assertion(iss="nobody", sub="nobody")), headers={"X-Request-Id": "stranger"})
    assert [one.outcome for one in lines(place.books, program.organization, "asked-again", "asked-well")] == ["4", "0"]
    (stranger,) = lines(place.books, "", "stranger")
    assert (stranger.interaction, stranger.outcome, stranger.client) == ("login", "4", "")
    with place.client(place.token(program.organization)) as client:
        found = client.get("/fhir/AuditEvent?subtype=http://dicom.nema.org/resources/ontology/DCM|110122")
    events = [one["resource"] for one in found.json()["entry"]]
    # DICOM PS3.15 A.5.3.11: User Authentication 110114 with Login 110122
    assert {(one["type"]["code"], one["subtype"][0]["code"]) for one in events} == {("110114", "110122")}
    assert told["access_token"] not in found.text
    assert good not in found.text


def lines(books: SqlBooks, organization: str, *requests: str) -> list[Any]:
    for _ in range(100):
        with books.view(organization) as view:
            found = [one for one in view.traces(count=500)[0] if one.request in requests]
        if len(found) == len(requests):
            return found
        time.sleep(0.05)
    raise AssertionError(f"{len(found)} lines")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "JWK Set"),
        ("[]", "JWK Set"),
        ('{"keys": []}', "no key"),
        ('{"keys": [{"kty": "oct", "kid": "a", "k": "c2VjcmV0"}]}', "secret"),
        (keys_of(public(rsa_key(1024), "a")), "2048"),
        (keys_of(public(ec_key("secp256r1"), "a")), "P-384"),
        (keys_of(public(rsa_key(), "")), "kid"),
        (keys_of(public(rsa_key(), "a", use="enc")), "signatures"),
        (keys_of(public(rsa_key(), "a", key_ops=["encrypt"])), "signatures"),
        (keys_of(public(rsa_key(), "a", alg="RS256")), "RS384"),
        (keys_of(public(rsa_key(), "a"), public(ec_key(), "a")), "two keys"),
        (keys_of(json.loads(jwt.algorithms.RSAAlgorithm.to_jwk(rsa_key())) | {"kid": "a"}), "secret"),
    ],
)
def test_keys_that_can_not_be_trusted_are_not_kept(text: str, words: str) -> None:
    with pytest.raises(Invalid, match=words):
        key_set(text)


# RFC 7515, appendix A.2 and A.3: the keys there are for RS256 and ES256; RFC 7517 A.1: a set of an EC and an RSA key
RFC_7517 = {
    "keys": [
        {
            "kty": "RSA",
            "n": "0vx7agoebGcQSuuPiLJXZptN9nndrQmbXEps2aiAFbWhM78LhWx4cbbfAAtVT86zwu1RK7aPFFxuhDR1L6tSoc_BJECPebWKRXjBZ"
            "CiFV4n3oknjhMstn64tZ_2W-5JsGY4Hc5n9yBXArwl93lqt7_RN5w6Cf0h4QyQ5v-65YGjQR0_FDW2QvzqY368QQMicAtaSqzs8KJZgnY"
            "b9c7d0zgdAZHzu6qMQvRL5hajrn1n91CbOpbISD08qNLyrdkt-bFTWhAI4vMQFh6WeZu0fM4lFd2NcRwr3XPksINHaQ-G_xBniIqbw0Ls"
            "1jF44-csFCur-kEgU8awapJzKnqDKgw",
            "e": "AQAB",
            "alg": "RS256",
            "kid": "2011-04-29",
        }
    ]
}


def test_the_key_of_rfc_7517_is_read_and_only_its_algorithm_refused() -> None:
    with pytest.raises(Invalid) as refused:
        key_set(json.dumps(RFC_7517))
    assert len(refused.value.faults) == 1
    key = {name: value for name, value in RFC_7517["keys"][0].items() if name != "alg"}
    assert json.loads(key_set(json.dumps({"keys": [key]}))) == {"keys": [key]}
    # RFC 7638 3.1 gives the thumbprint of this key
    assert jwk.RSAKey.import_key(key).thumbprint() == "NzbLsXh8uDCcd-6MNwXF4W_7noWXFZAfHkxZsRGC9Xs"
