"""A destination that asks who we are, into a token that it gives for a signed assertion (SMART Backend Services)."""

import asyncio
from collections.abc import Callable, Collection, Sequence
from datetime import UTC, datetime, timedelta
from time import monotonic
from typing import Protocol
from urllib.parse import urlsplit

import httpx

from service.basics.signing import ALGORITHMS, SigningKey, in_turn
from service.courier.guard import Guarded, Resolve
from service.courier.patience import Now
from service.courier.ports import Leased
from service.courier.smart import SECONDS, NoToken, Server, Token, exchanged, read_server, read_token, terms
from service.fhir import uris

CONFIGURATION = ".well-known/smart-configuration"
DISCOVERED = 3600.0  # seconds that what a server told of itself is believed
FRESH = 5.0  # seconds within which a token that is refused was renewed by another send already
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
Whose = tuple[str, str, str, str]


class Keys(Protocol):
    """Our own keys; the store honours it."""

    def signing_keys(self, organization: str) -> Sequence[SigningKey]: ...


class Smart:
    """The Authorization header of each destination: what is kept, or a token of a server that gives such."""

    def __init__(
        self,
        keys: Keys,
        *,
        private: Collection[str] = (),
        transport: httpx.AsyncBaseTransport | None = None,
        resolve: Resolve | None = None,
        now: Now = lambda: datetime.now(UTC),
        clock: Callable[[], float] = monotonic,
    ) -> None:
        self._keys, self._now, self._clock = keys, now, clock
        self._private, self._transport, self._resolve = private, transport, resolve
        self._servers: dict[str, Server] = {}
        self._tokens: dict[Whose, Token] = {}
        self._locks: dict[Whose, asyncio.Lock] = {}

    async def header(self, post: Leased) -> str:
        """The value of the header, "" for none. Raises NoToken."""
        wanted = terms(post.settings)
        if not wanted:
            return post.authorization
        whose = (post.organization, post.destination, post.url, post.settings)
        held = self._tokens.get(whose)
        if held is None or held.until <= self._clock():
            async with self._locks.setdefault(whose, asyncio.Lock()):
                held = self._tokens.get(whose)
                if held is None or held.until <= self._clock():
                    held = self._tokens[whose] = await self._asked(post, wanted)
        return f"Bearer {held.text}"

    async def renewed(self, post: Leased) -> bool:
        """After 401: whether another try has a token that was given since."""
        if not terms(post.settings):
            return False
        whose = (post.organization, post.destination, post.url, post.settings)
        held = self._tokens.get(whose)
        if held is not None and held.given <= self._clock() - FRESH:
            self._tokens.pop(whose, None)
            self._servers.pop(post.url, None)
        return True

    async def _asked(self, post: Leased, wanted: dict[str, str]) -> Token:
        async with self._client(post.url) as client:
            server = self._servers.get(post.url)
            if server is None or server.until <= self._clock():
                server = self._servers[post.url] = await self._discovered(client, post.url)
            algorithms = [a for a in ([wanted["alg"]] if wanted.get("alg") else ALGORITHMS) if a in server.algorithms]
            signed = await asyncio.to_thread(self._signed, post.organization, wanted["client"], server, algorithms)
            form = {
                "grant_type": "client_credentials",
                "scope": wanted.get("scope", ""),
                "client_assertion_type": uris.CLIENT_ASSERTION,
                "client_assertion": signed,
            }
            status, told = await exchanged(client, "POST", server.token_endpoint, data=form)
        given = self._clock()
        return read_token(status, told, given=given)

    def _signed(self, organization: str, client: str, server: Server, algorithms: Sequence[str]) -> str:
        from service.access import own_keys  # noqa: PLC0415  # 15 MB that only such destinations should cost

        now = self._now()
        now_us = (now - _EPOCH) // timedelta(microseconds=1)
        key = in_turn(self._keys.signing_keys(organization), algorithms=algorithms, now_us=now_us)
        if key is None:
            raise NoToken(f"there is no key of ours for {' or '.join(algorithms) or 'any algorithm of this server'}")
        return own_keys.assertion(key, client=client, audience=server.token_endpoint, now=now)

    async def _discovered(self, client: httpx.AsyncClient, base: str) -> Server:
        status, told = await exchanged(client, "GET", f"{base.rstrip('/')}/{CONFIGURATION}")
        if status != 200:
            raise NoToken(f"its smart-configuration was answered {status}")
        place = read_server(told, base=base, private={urlsplit(base).hostname or "", *self._private})
        return Server(*place, until=self._clock() + DISCOVERED)

    def _client(self, base: str) -> httpx.AsyncClient:
        """One that reaches the destination's own host, which an operator named, and else public addresses alone."""
        private = {urlsplit(base).hostname or "", *self._private}
        inner = self._transport or Guarded(httpx.AsyncHTTPTransport(), private=private, resolve=self._resolve)
        return httpx.AsyncClient(transport=inner, trust_env=False, timeout=SECONDS, follow_redirects=False)
