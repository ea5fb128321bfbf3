"""A destination into a connection of its own that is free just now, kept open from one send to the next."""

import ssl
from collections.abc import Collection

import httpx

from service.basics.subscription import NOTICES
from service.courier.guard import Guarded, Resolve
from service.courier.ports import Leased

Whose = tuple[str, str, str]
_ONE = httpx.Limits(max_connections=1, max_keepalive_connections=1)
# A pool of several connections looks at all of them for each request, which costs more than sending it.


class Connections:
    """Lends transports of one connection each. transport: a single one for everything, as tests have it.

    private: hosts of one's own network to which addresses that data named may lead; resolve: looks names up."""

    def __init__(
        self,
        *,
        transport: httpx.AsyncBaseTransport | None = None,
        private: Collection[str] = (),
        resolve: Resolve | None = None,
    ) -> None:
        self._given = transport
        self._private, self._resolve = private, resolve
        self._free: dict[Whose, list[httpx.AsyncBaseTransport]] = {}
        self._trusting: ssl.SSLContext | None = None

    def take(self, post: Leased) -> httpx.AsyncBaseTransport:
        """One that nobody uses; give it back after the send, however that ended."""
        free = self._free.get((post.organization, post.destination, post.url))
        return free.pop() if free else self._given or self._new(post)

    def give(self, post: Leased, transport: httpx.AsyncBaseTransport) -> None:
        """Back after a send: a connection that broke is opened anew by the next one."""
        self._free.setdefault((post.organization, post.destination, post.url), []).append(transport)

    async def close(self) -> None:
        """Close all that were given back."""
        for transports in self._free.values():
            for transport in transports:
                await transport.aclose()
        self._free.clear()

    def _new(self, post: Leased) -> httpx.AsyncBaseTransport:
        """For an address that data named, one that leads nowhere but where addresses of data may.

        A .netrc or proxy of this machine's user is none of a destination's business."""
        made = httpx.AsyncHTTPTransport(verify=self._trust(post.url), limits=_ONE, trust_env=False)
        if post.form not in NOTICES:
            return made
        return Guarded(made, private=self._private, resolve=self._resolve)

    def _trust(self, url: str) -> ssl.SSLContext:
        """One context for all, as each costs megabytes; plain http gets an empty one, which trusts nobody."""
        if url[:8].lower() != "https://":
            return ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        self._trusting = self._trusting or httpx.create_ssl_context()
        return self._trusting
