"""Carries the bytes of one post over HTTP and brings back an answer; a line of connections per destination."""

import asyncio
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from types import TracebackType
from typing import Protocol, Self

import httpx

from service.basics.subscription import NOTICES
from service.courier.answer import READ, Answer, NoAnswer
from service.courier.connections import Connections
from service.courier.guard import Forbidden, Resolve
from service.courier.ports import Leased
from service.courier.verdict import Home

CONNECT_SECONDS = 5
AT_ONE_TIME = 8  # sends to one destination: kind to it
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
        self._credentials = credentials or Kept()
        self._total = total_seconds
        self.home: Home | None = None  # takes over what goes to an organisation of this very service
        self._connections = Connections(transport=transport, private=private, resolve=resolve)
        self._times = httpx.Timeout(total_seconds, connect=min(CONNECT_SECONDS, total_seconds)).as_dict()
        self._turns: dict[tuple[str, str], asyncio.Semaphore] = {}

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
            times = {"timeout": self._times}
            sent = httpx.Request(call.method, url, content=call.body or None, headers=headers, extensions=times)
            async with asyncio.timeout(self._total):
                return await self._exchanged(post, sent)
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
        await self._connections.close()

    async def _exchanged(self, post: Leased, sent: httpx.Request) -> Answer:
        """Through a transport alone: what a client does besides, such as cookies and redirects, is not wanted."""
        transport = self._connections.take(post)
        try:
            came = await transport.handle_async_request(sent)
            try:
                return await _read(came)
            finally:
                await came.aclose()
        finally:
            self._connections.give(post, transport)


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
