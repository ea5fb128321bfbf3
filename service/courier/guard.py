"""A transport that resolves a host once, looks at every address it has, and connects to what was looked at."""

import asyncio
import socket
from collections.abc import Awaitable, Callable, Collection, Sequence

import httpx

from service.access import addresses

Resolve = Callable[[str, int], Awaitable[Sequence[str]]]
"""A host and port into IP addresses."""
FETCHED = 256 * 1024  # bytes of a document that is fetched
SECONDS = 10.0


class Forbidden(httpx.TransportError):
    """The host leads to an address that is not called."""


class Guarded(httpx.AsyncBaseTransport):
    """Lets requests through to public addresses, and to private ones of the hosts that are allowed by name.

    A name that leads to several addresses is refused when any of them is; no second look at it is taken between
    the check and the connection, so it can't lead elsewhere meanwhile. The certificate is still that of the name."""

    def __init__(
        self, inner: httpx.AsyncBaseTransport, *, private: Collection[str] = (), resolve: Resolve | None = None
    ) -> None:
        self._inner = inner
        self._private = frozenset(private)
        self._resolve = resolve or resolved

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        """Send to an address that was looked at. Raises Forbidden, or ConnectError when there is none."""
        url = request.url
        found = await self._looked_at(url.host, url.port or {"http": 80}.get(url.scheme, 443))
        named = request.extensions | {"sni_hostname": url.host}
        for last, address in enumerate(found, 1):
            try:
                aimed = httpx.Request(
                    request.method,
                    url.copy_with(host=address),
                    headers=request.headers,  # Host among them, by name
                    stream=request.stream,
                    extensions=named,
                )
                return await self._inner.handle_async_request(aimed)
            except httpx.ConnectError:
                if last == len(found):
                    raise
        raise httpx.ConnectError("the host has no address")

    async def _looked_at(self, host: str, port: int) -> Sequence[str]:
        try:
            found = await self._resolve(host, port)
        except OSError as fault:
            raise httpx.ConnectError(f"the host's name is not known ({type(fault).__name__})") from None
        if not all(addresses.callable_(one, private=host in self._private) for one in found):
            raise Forbidden("the host leads into a private network, to this machine or to a metadata service")
        return found[:3]

    async def aclose(self) -> None:
        """Close the connections."""
        await self._inner.aclose()


async def resolved(host: str, port: int) -> Sequence[str]:
    """All addresses of a host, each once, as the system resolves it. Raises OSError."""
    found = await asyncio.get_running_loop().getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(one[4][0]) for one in found))


def fetched(url: str, *, private: Collection[str] = (), transport: httpx.AsyncBaseTransport | None = None) -> bytes:
    """A document such as a key set, from an address that passes addresses.faults; no redirect is followed.

    Raises ValueError in words for a person when it can't be had, is longer than FETCHED or is refused."""
    wrong = addresses.faults(url, private=private)
    if wrong:
        raise ValueError(" ".join(wrong))
    return asyncio.run(_fetched(url, transport or Guarded(httpx.AsyncHTTPTransport(), private=private)))


async def _fetched(url: str, transport: httpx.AsyncBaseTransport) -> bytes:
    async with httpx.AsyncClient(transport=transport, trust_env=False, timeout=SECONDS) as client:
        try:
            async with asyncio.timeout(SECONDS), client.stream("GET", url, headers=_ASKED) as came:
                if came.status_code != 200:
                    raise ValueError(f"The address answered {came.status_code} instead of a document.")
                return await _short(came)
        except (httpx.HTTPError, TimeoutError) as fault:
            raise ValueError(f"Nothing could be fetched from the address ({type(fault).__name__}).") from None


_ASKED = {"Accept": "application/json", "Accept-Encoding": "identity", "User-Agent": "sonoledger-courier"}


async def _short(came: httpx.Response) -> bytes:
    body = b""
    async for part in came.aiter_raw():
        body += part
        if len(body) > FETCHED:
            raise ValueError("What the address answered is too long.")
    return body
