"""Tokens for destinations: discovery, assertions that another library proves, caching, and one fresh token on 401."""

import asyncio
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any
from urllib.parse import parse_qsl

import httpx
import jwt as pyjwt
import pytest

from service.access import own_keys
from service.basics.signing import LEAD_US, SigningKey, in_turn
from service.courier.answer import Answer
from service.courier.credentials import Smart
from service.courier.lines import Call, Lines
from service.courier.smart import NoToken, read_server
from tests.courier.twin import TwinPost

Json = dict[str, Any]
NOW = datetime(2026, 11, 25, 13, 4, 29, tzinfo=UTC)
BASE = "https://records.example.org/fhir"
SMART = json.dumps({"smart": {"client": "our-id-there", "scope": "system/*.cruds"}})
POST = TwinPost(url=BASE, authorization="", settings=SMART)


@pytest.fixture(scope="module")
def keys() -> dict[str, SigningKey]:
    made = {alg: own_keys.new_key(alg, now=NOW) for alg in ("ES384", "RS384")}
    return {alg: replace(one, made_us=0) for alg, one in made.items()}


@dataclass
class Ring:
    """Our keys, as the store has them."""

    keys: Sequence[SigningKey]

    def signing_keys(self, organization: str) -> Sequence[SigningKey]:
        assert organization == "hill-practice"
        return self.keys


@dataclass
class There(httpx.AsyncBaseTransport):
    """A record system that gives tokens: it proves what it is shown with a library of its own (PyJWT)."""

    published: Sequence[SigningKey]
    configuration: Json = field(default_factory=dict)
    answers: list[httpx.Response] = field(default_factory=list)
    life: int = 300
    accepted: set[str] = field(default_factory=set)  # tokens that its API takes; any when empty
    asked: list[str] = field(default_factory=list)
    claims: list[Json] = field(default_factory=list)
    headers: list[Json] = field(default_factory=list)
    given: list[str] = field(default_factory=list)
    used: list[str] = field(default_factory=list)

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        body = await request.aread()
        path = request.url.path
        self.asked.append(path)
        if path.endswith("/.well-known/smart-configuration"):
            return self._raw(200, CONFIGURATION | self.configuration)
        if path == "/token":
            await asyncio.sleep(0.01)
            return self.answers.pop(0) if self.answers else self._token(dict(parse_qsl(body.decode())))
        self.used.append(request.headers.get("authorization", ""))
        fits = not self.accepted or self.used[-1].removeprefix("Bearer ") in self.accepted
        return self._raw(200 if fits else 401, {})

    def _token(self, form: Json) -> httpx.Response:
        assert form["grant_type"] == "client_credentials"
        assert form["client_assertion_type"] == "urn:ietf:params:oauth:client-assertion-type:jwt-bearer"
        assert form["scope"] == "system/*.cruds"
        header = pyjwt.get_unverified_header(form["client_assertion"])
        (key,) = [one for one in self.published if one.kid == header["kid"]]
        algorithms: list[str] = [key.alg]
        public = pyjwt.PyJWK(json.loads(key.public)).key
        options: Any = {"verify_exp": False, "verify_iat": False, "require": ["iss", "sub", "aud", "exp", "jti"]}
        audience = f"https://{'records.example.org'}/token"
        claims = pyjwt.decode(form["client_assertion"], public, algorithms, options, audience=audience)
        self.claims.append(claims)
        self.headers.append(header)
        self.given.append(f"token-{len(self.given)}")
        return self._raw(200, {"access_token": self.given[-1], "token_type": "Bearer", "expires_in": self.life})

    def _raw(self, status: int, content: Json) -> httpx.Response:
        return httpx.Response(status, stream=httpx.ByteStream(json.dumps(content).encode()))


CONFIGURATION = {
    "token_endpoint": "https://records.example.org/token",
    "grant_types_supported": ["client_credentials"],
    "token_endpoint_auth_methods_supported": ["private_key_jwt"],
    "token_endpoint_auth_signing_alg_values_supported": ["RS384", "ES384"],
    "capabilities": ["client-confidential-asymmetric"],
}


@dataclass
class Clock:
    seconds: float = 1000.0

    def __call__(self) -> float:
        return self.seconds


def smart(there: There, keys: Sequence[SigningKey], clock: Callable[[], float] | None = None) -> Smart:
    return Smart(Ring(keys), transport=there, now=lambda: NOW, clock=clock or Clock())


@pytest.mark.parametrize("algorithm", ["ES384", "RS384"])
def test_the_assertion_is_what_smart_asks_for(keys: dict[str, SigningKey], algorithm: str) -> None:
    # SMART App Launch 2.2, Backend Services and Client Authentication: Asymmetric
    there = There([*keys.values()], {"token_endpoint_auth_signing_alg_values_supported": [algorithm]})
    assert asyncio.run(smart(there, [*keys.values()]).header(POST)) == "Bearer token-0"
    (claims,), (header,) = there.claims, there.headers
    assert header == {"alg": algorithm, "kid": keys[algorithm].kid, "typ": "JWT"}
    assert claims["iss"] == claims["sub"] == "our-id-there"
    assert claims["aud"] == "https://records.example.org/token"
    assert 0 < claims["exp"] - NOW.timestamp() <= 300
    assert len(claims["jti"]) >= 32
    assert there.asked == ["/fhir/.well-known/smart-configuration", "/token"]


def test_a_token_is_used_until_just_before_its_end_and_each_assertion_is_another(keys: dict[str, SigningKey]) -> None:
    async def go() -> list[str]:
        clock = Clock()
        who = smart(there, [keys["ES384"]], clock)
        found = list(await asyncio.gather(*(who.header(POST) for _ in range(20))))
        for passed in (269, 2, 269, 2):
            clock.seconds += passed
            found.append(await who.header(POST))
        return found

    there = There([keys["ES384"]])
    assert asyncio.run(go()) == ["Bearer token-0"] * 21 + ["Bearer token-1"] * 2 + ["Bearer token-2"]
    assert len({one["jti"] for one in there.claims}) == 3
    assert there.asked.count("/fhir/.well-known/smart-configuration") == 1, "believed for an hour"


def test_after_401_there_is_one_fresh_token_and_no_more(keys: dict[str, SigningKey]) -> None:
    async def go(*, between: float, accepted: set[str]) -> tuple[list[Answer], There]:
        there, clock = There([keys["ES384"]]), Clock()
        async with Lines(transport=there, credentials=smart(there, [keys["ES384"]], clock)) as lines:
            call = Call("POST", body=b"{}")
            first = await lines.send(POST, call, request="1")
            clock.seconds += between
            there.accepted = accepted
            second = await lines.send(POST, call, request="2")
        assert isinstance(first, Answer)
        assert isinstance(second, Answer)
        return [first, second], there

    answers, there = asyncio.run(go(between=60, accepted={"token-1"}))
    assert [one.status for one in answers] == [200, 200]
    assert there.used == ["Bearer token-0", "Bearer token-0", "Bearer token-1"]
    answers, there = asyncio.run(go(between=60, accepted={"none"}))
    assert [one.status for one in answers] == [200, 401]
    assert there.used == ["Bearer token-0", "Bearer token-0", "Bearer token-1"], "a fresh one is tried once"


def test_a_fixed_header_is_sent_as_it_is_and_nobody_is_asked(keys: dict[str, SigningKey]) -> None:
    there = There([])
    who = smart(there, [])
    assert asyncio.run(who.header(TwinPost())) == "Bearer plainly-invented"
    assert asyncio.run(who.renewed(TwinPost())) is False
    assert there.asked == []


REFUSALS: list[tuple[httpx.Response, str]] = [
    (httpx.Response(400, stream=httpx.ByteStream(b'{"error": "invalid_client"}')), "answered 400 invalid_client"),
    (httpx.Response(401, stream=httpx.ByteStream(b'{"error": "<script>"}')), "answered 401$"),
    (httpx.Response(302, headers={"Location": "/x"}, stream=httpx.ByteStream(b"")), "answered 302$"),
    (httpx.Response(200, stream=httpx.ByteStream(b"<html>")), "no bearer token"),
    (
        httpx.Response(200, stream=httpx.ByteStream(b'{"access_token": "a\\r\\nb", "token_type": "bearer"}')),
        "no bearer",
    ),
    (httpx.Response(200, stream=httpx.ByteStream(b'{"access_token": "a", "token_type": "mac"}')), "no bearer"),
    (
        httpx.Response(200, stream=httpx.ByteStream(b'{"access_token": "a", "token_type": "bearer", "scope": ""}')),
        "grants nothing",
    ),
    (httpx.Response(200, stream=httpx.ByteStream(b"[" * 100_000)), "too long"),
]


@pytest.mark.parametrize(("answer", "words"), REFUSALS)
def test_what_is_no_token_is_told_and_tried_again_later(
    keys: dict[str, SigningKey], answer: httpx.Response, words: str
) -> None:
    there = There([keys["ES384"]], answers=[answer])
    who = smart(there, [keys["ES384"]])
    with pytest.raises(NoToken, match=words):
        asyncio.run(who.header(POST))


def test_without_a_key_nothing_is_asked_for(keys: dict[str, SigningKey]) -> None:
    there = There([])
    with pytest.raises(NoToken, match="no key of ours for ES384 or RS384"):
        asyncio.run(smart(there, [replace(keys["ES384"], retired="2026-01-01T00:00:00Z")]).header(POST))
    fixed = replace(POST, settings=json.dumps({"smart": {"client": "c", "alg": "RS384"}}))
    with pytest.raises(NoToken, match="no key of ours for RS384"):
        asyncio.run(smart(there, [keys["ES384"]]).header(fixed))


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"token_endpoint": None}, "names no token endpoint"),
        ({"grant_types_supported": ["authorization_code"]}, "client_credentials"),
        ({"token_endpoint_auth_methods_supported": ["client_secret_basic"]}, "private_key_jwt"),
        ({"token_endpoint_auth_signing_alg_values_supported": ["HS256", "none"]}, "none of"),
        ({"token_endpoint": "http://records.example.org/token"}, "https"),
        ({"token_endpoint": "https://169.254.169.254/token"}, "private network"),
        ({"token_endpoint": "https://localhost/token"}, "private network"),
        ({"token_endpoint": "file:///etc/passwd"}, "https"),
    ],
)
def test_a_server_that_has_no_place_for_us(told: Json, words: str) -> None:
    with pytest.raises(NoToken, match=words):
        read_server(CONFIGURATION | told, base=BASE)


def test_a_relative_endpoint_and_one_on_another_host() -> None:
    # SMART: absolute URLs; a relative one is resolved against the base
    assert read_server(CONFIGURATION | {"token_endpoint": "auth/token"}, base=BASE)[0] == f"{BASE}/auth/token"
    assert (
        read_server(CONFIGURATION | {"token_endpoint": "https://id.example.org/t"}, base=BASE)[0]
        == "https://id.example.org/t"
    )
    near = CONFIGURATION | {"token_endpoint": "http://10.0.0.7/token"}
    assert read_server(near, base="http://10.0.0.7/fhir", private={"10.0.0.7"})[0] == "http://10.0.0.7/token"


def test_a_new_key_signs_when_everybody_can_have_seen_it(keys: dict[str, SigningKey]) -> None:
    old = replace(keys["ES384"], kid="old", made_us=0)
    new = replace(keys["ES384"], kid="new", made_us=10 * LEAD_US)

    def at(now_us: int, *ring: SigningKey) -> str:
        found = in_turn(ring, algorithms=["ES384"], now_us=now_us)
        return found.kid if found else ""

    assert at(10 * LEAD_US, old, new) == "old"
    assert at(11 * LEAD_US - 1, old, new) == "old"
    assert at(11 * LEAD_US, old, new) == "new"
    assert at(10 * LEAD_US, new) == "new", "alone it signs at once"
    assert at(10 * LEAD_US, replace(old, retired="x"), new) == "new"
    assert at(20 * LEAD_US, replace(old, retired="x"), replace(new, retired="x")) == ""


def test_nothing_private_is_published(keys: dict[str, SigningKey]) -> None:
    # RFC 7518, 6.2.2 and 6.3.2: d, p, q, dp, dq, qi are private
    for key in keys.values():
        public, private = json.loads(key.public), json.loads(key.private)
        assert not {"d", "p", "q", "dp", "dq", "qi", "k"} & set(public)
        assert "d" in private
        assert (public["kid"], public["use"]) == (key.kid, "sig")
        assert {"ES384": public.get("crv") == "P-384", "RS384": len(public.get("n", "")) >= 512}[key.alg]
        assert key.private not in repr(key)
