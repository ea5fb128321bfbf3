"""Carries the bytes of one post over HTTP and brings back an answer; a line of connections per destination."""

import asyncio
import ssl
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from types import TracebackType
from typing import Protocol, Self

import httpx

from service.basics.subscription import NOTICES
from service.courier.answer import READ, Answer, NoAnswer
from service.courier.guard import Forbidden, Guarded, Resolve
from service.courier.ports import Leased

CONNECT_SECONDS = 5
AT_ONE_TIME = 8  # sends to one destination: kind to it, and a pool of more connections costs more than it carries
TOTAL_SECONDS = 30  # from the first byte sent to the last one read, however slowly the other side drips
UNSEEN = NOTICES | {"webhook"}  # forms whose secrets are no Authorization header
HOPELESS = (httpx.InvalidURL, httpx.UnsupportedProtocol, httpx.LocalProtocolError, ValueError)


@dataclass(frozen=True, slots=True)
class Call:
    """One request to a destination; path is relative to its base, "" for the base itself."""

    method: str
    path: str = ""
    body: bytes = b""
    headers: Mapping[str, str] = field(default_factory=dict)


class Credentials(Protocol):
    """The Authorization header of a destination, where it is not simply kept."""

    async def header(self, post: Leased) -> str: ...  # "" for none
    async def renewed(self, post: Leased) -> bool: ...  # after 401: whether another try has a fresh one


class Lines:
    """Sends posts. Each destination has connections of its own, so that a hanging one holds up nobody else."""

    def __init__(
        self,
        *,
        transport: httpx.AsyncBaseTransport | None = None,
        total_seconds: float = TOTAL_SECONDS,
        credentials: Credentials | None = None,
        private: Collection[str] = (),
        resolve: Resolve | None = None,
    ) -> None:
        self._transport = transport
        self._credentials = credentials or Kept()
        self._total = total_seconds
        self._private, self._resolve = private, resolve
        self._clients: dict[tuple[str, str, str], httpx.AsyncClient] = {}
        self._turns: dict[tuple[str, str], asyncio.Semaphore] = {}
        self._trusting: ssl.SSLContext | None = None

    @property
    def seconds(self) -> float:
        """The longest that one send can take."""
        return self._total

    def turn(self, post: Leased) -> asyncio.Semaphore:
        """To be held while sending: at most AT_ONE_TIME sends to one destination are under way."""
        return self._turns.setdefault((post.organization, post.destination), asyncio.Semaphore(AT_ONE_TIME))

    async def send(self, post: Leased, call: Call, *, request: str) -> Answer | NoAnswer:
        """One exchange with the destination of a post; after 401 a second one, when its credentials can be renewed.

        Redirects are not followed and nothing in the answer is fetched."""
        answer = await self._once(post, call, request=request)
        if isinstance(answer, Answer) and answer.status == 401 and await self._credentials.renewed(post):
            return await self._once(post, call, request=request)
        return answer

    async def _once(self, post: Leased, call: Call, *, request: str) -> Answer | NoAnswer:
        try:
            authorization = "" if post.form in UNSEEN else await self._credentials.header(post)
            headers = {**_headers(call, request=request, authorization=authorization), **call.headers}
            url = f"{post.url}/{call.path}" if call.path else post.url
            client = self._client(post)
            async with (
                asyncio.timeout(self._total),
                client.stream(call.method, url, content=call.body or None, headers=headers) as came,
            ):
                return await _read(came)
        except TimeoutError:
            return NoAnswer(f"no complete answer within {self._total:g} s")
        except httpx.TimeoutException as late:
            return NoAnswer(f"no answer in time ({type(late).__name__})")
        except Forbidden as fault:
            return NoAnswer(f"not sent: {fault}", True)
        except HOPELESS as fault:  # its text is not repeated: it can quote the credentials
            return NoAnswer(f"cannot be sent: the address or credentials are malformed ({type(fault).__name__})", True)
        except httpx.TransportError as fault:
            return NoAnswer(f"no answer ({type(fault).__name__}: {ascii(str(fault)[:200])[1:-1]})".replace(": )", ")"))

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        for client in self._clients.values():
            await client.aclose()
        self._clients.clear()

    def _client(self, post: Leased) -> httpx.AsyncClient:
        whose = (post.organization, post.destination, post.url)
        if whose not in self._clients:
            self._clients[whose] = httpx.AsyncClient(
                transport=self._transport or self._guarded(post),
                verify=self._trust(post.url),
                timeout=httpx.Timeout(self._total, connect=min(CONNECT_SECONDS, self._total)),
                limits=httpx.Limits(max_connections=AT_ONE_TIME, max_keepalive_connections=AT_ONE_TIME),
                follow_redirects=False,
                trust_env=False,  # a .netrc or proxy of this machine's user is none of a destination's business
            )
        return self._clients[whose]

    def _guarded(self, post: Leased) -> httpx.AsyncBaseTransport | None:
        """For an address that data named: it leads nowhere but where addresses of data may. None for an operator's."""
        if post.form not in NOTICES:
            return None
        limits = httpx.Limits(max_connections=AT_ONE_TIME, max_keepalive_connections=AT_ONE_TIME)
        inner = httpx.AsyncHTTPTransport(verify=self._trust(post.url), limits=limits, trust_env=False)
        return Guarded(inner, private=self._private, resolve=self._resolve)

    def _trust(self, url: str) -> ssl.SSLContext:
        """One context for all lines, as each costs megabytes; plain http gets an empty one, which trusts nobody."""
        if url[:8].lower() != "https://":
            return ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        self._trusting = self._trusting or httpx.create_ssl_context()
        return self._trusting


class Kept:
    """Credentials that were given with the destination and are sent as they are."""

    async def header(self, post: Leased) -> str:
        """The value that is kept, "" for none."""
        return post.authorization

    async def renewed(self, post: Leased) -> bool:
        """Never: there is no other."""
        return False


def _headers(call: Call, *, request: str, authorization: str) -> dict[str, str]:
    headers = {
        **({"Content-Type": "application/fhir+json; charset=utf-8"} if call.body else {}),
        "Accept": "application/fhir+json",
        "Accept-Encoding": "identity",  # 300 kB of gzip can swell to 300 MB
        "Prefer": "return=minimal",
        "X-Request-Id": request,
        "User-Agent": "sonoledger-courier",
    }
    return {**headers, "Authorization": authorization} if authorization else headers


async def _read(came: httpx.Response) -> Answer:
    parts: list[bytes] = []
    left = READ
    async for part in came.aiter_raw():
        parts.append(part[:left])
        left -= len(part)
        if left < 0:
            break
    encoding = came.headers.get("Content-Encoding", "")
    return Answer(
        status=came.status_code,
        body=b"".join(parts),
        whole=left >= 0,
        encoding="" if encoding.lower() == "identity" else encoding[:20],
        retry_after=came.headers.get("Retry-After", ""),
        location=came.headers.get("Location", ""),
        etag=came.headers.get("ETag", ""),
    )
