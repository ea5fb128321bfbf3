"""What a server tells of the tokens that it gives, and what it answers when it is asked for one, into values."""

import asyncio
import json
import re
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any
from urllib.parse import urljoin

import httpx

from service.access import addresses
from service.basics.signing import ALGORITHMS

SKEW = 30.0  # seconds before its end that a token is no longer used
SECONDS = 10.0
LARGEST = 64 * 1024
_TOKEN = re.compile(r"[A-Za-z0-9\-._~+/]+=*")  # b64token of RFC 6750
_FORM = {"Accept": "application/json", "Accept-Encoding": "identity", "User-Agent": "sonoledger-courier"}


class NoToken(httpx.TransportError):
    """The destination gave no token; the text says why, without secrets. It may give one another time."""


@dataclass(frozen=True, slots=True)
class Server:
    """What a destination told of itself: where tokens are given, and which of our algorithms it takes."""

    token_endpoint: str
    algorithms: tuple[str, ...]
    until: float


@dataclass(frozen=True, slots=True)
class Token:
    """A token, and when it was given and until when it is used, by the monotonic clock."""

    text: str
    given: float
    until: float


def terms(settings: str) -> dict[str, str]:
    """What was agreed with a destination that gives tokens: client, scope and perhaps alg; empty for any other."""
    found = json.loads(settings).get("smart", {}) if settings else {}
    return {str(name): str(value) for name, value in found.items()}


def read_server(told: dict[str, Any], *, base: str, private: Collection[str] = ()) -> tuple[str, tuple[str, ...]]:
    """(token endpoint, algorithms) of a smart-configuration; raises NoToken for one that has no place for us."""
    endpoint = urljoin(f"{base.rstrip('/')}/", str(told.get("token_endpoint") or ""))
    grants, ways = told.get("grant_types_supported"), told.get("token_endpoint_auth_methods_supported")
    if not told.get("token_endpoint"):
        raise NoToken("its smart-configuration names no token endpoint")
    if isinstance(grants, list) and "client_credentials" not in grants:
        raise NoToken("it gives no tokens for client_credentials")
    if isinstance(ways, list) and "private_key_jwt" not in ways:
        raise NoToken("it takes no private_key_jwt")
    wrong = addresses.faults(endpoint, private=private)
    if wrong:
        raise NoToken(f"its token endpoint is not called: {wrong[0]}")
    named = told.get("token_endpoint_auth_signing_alg_values_supported")
    algorithms = tuple(a for a in ALGORITHMS if a in named) if isinstance(named, list) else ALGORITHMS
    if not algorithms:
        raise NoToken(f"it takes none of {', '.join(ALGORITHMS)}")
    return endpoint, algorithms


def read_token(status: int, told: dict[str, Any], *, given: float) -> Token:
    """The token of an answer that came at `given`; raises NoToken."""
    if status != 200:
        error = str(told.get("error", ""))
        word = f" {error}" if re.fullmatch(r"[a-z_]{1,40}", error) else ""
        raise NoToken(f"its token endpoint answered {status}{word}")
    text, kind, seconds = told.get("access_token"), str(told.get("token_type", "")), told.get("expires_in", 60)
    if not isinstance(text, str) or not _TOKEN.fullmatch(text) or kind.lower() != "bearer":
        raise NoToken("its token endpoint gave no bearer token")
    if told.get("scope") == "":
        raise NoToken("its token grants nothing")
    life = float(seconds) if isinstance(seconds, int) and seconds > 0 else 60.0
    return Token(text, given, given + max(life - SKEW, life / 2))


async def exchanged(client: httpx.AsyncClient, method: str, url: str, **more: Any) -> tuple[int, dict[str, Any]]:
    """(status, JSON object or {}) of one exchange; raises NoToken when nothing readable came back."""
    body = b""
    try:
        async with asyncio.timeout(SECONDS), client.stream(method, url, headers=_FORM, **more) as came:
            async for part in came.aiter_raw():
                body += part
                if len(body) > LARGEST:
                    raise NoToken("what it answered is too long")
    except (httpx.HTTPError, TimeoutError) as fault:
        if isinstance(fault, NoToken):
            raise
        raise NoToken(f"no answer about a token ({type(fault).__name__})") from None
    try:
        told = json.loads(body)
    except ValueError:
        told = {}
    return came.status_code, told if isinstance(told, dict) else {}
