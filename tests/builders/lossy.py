"""A wire to a record system that breaks where it is told to, and a ledger of all that went over it."""

import asyncio
import hashlib
import random
import threading
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

import httpx

# what can become of one message, in per cent of all; the rest goes through
FAULTS = {
    "answer lost": 9,  # it arrived, and nobody learns of it
    "reset": 7,  # it never arrived
    "hang": 1,
    "500 before": 3,
    "500 after": 2,  # it arrived, and the answer says it failed
    "503": 5,
    "429": 5,
}
SAID = {"500 before": 500, "500 after": 500, "503": 503, "429": 429}
Choose = Callable[[], str]


def at_random(seed: int) -> Choose:
    """Faults in the shares of FAULTS; the same seed gives the same row of them."""
    draw = random.Random(seed)
    names = [*FAULTS, ""]
    weights = [*FAULTS.values(), 100 - sum(FAULTS.values())]
    return lambda: draw.choices(names, weights)[0]


@dataclass
class Lossy:
    """Passes messages on to `target`; `choose` says what becomes of each ("" for nothing bad)."""

    target: str
    choose: Choose = str
    became: Counter[str] = field(default_factory=Counter)
    bodies: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))  # key -> digests of what was sent
    arrived: Counter[str] = field(default_factory=Counter)  # key -> how often the record system took it
    together: Counter[str] = field(default_factory=Counter)  # keys that were under way twice at one time
    url: str = ""
    _under_way: Counter[str] = field(default_factory=Counter)
    _ended: asyncio.Event | None = None

    @contextmanager
    def open(self) -> Iterator["Lossy"]:
        """Listening on loopback, at `url`, until the end of the with."""
        ready = threading.Event()
        loop = asyncio.new_event_loop()
        thread = threading.Thread(target=loop.run_until_complete, args=(self._serve(ready),))
        thread.start()
        ready.wait(10)
        try:
            yield self
        finally:
            if self._ended is not None:
                loop.call_soon_threadsafe(self._ended.set)
            thread.join()
            loop.close()

    async def _serve(self, ready: threading.Event) -> None:
        self._ended = asyncio.Event()
        callers: set[asyncio.Task[None]] = set()

        async def meet(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            task = asyncio.current_task()
            assert task is not None
            callers.add(task)
            try:
                await self._connection(reader, writer, client)
            except (OSError, asyncio.IncompleteReadError, asyncio.CancelledError):
                pass
            finally:
                callers.discard(task)
                writer.close()

        async with httpx.AsyncClient(trust_env=False, timeout=30) as client:
            server = await asyncio.start_server(meet, "127.0.0.1", 0)
            self.url = f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}/fhir"
            ready.set()
            await self._ended.wait()
            server.close()
            for task in list(callers):
                task.cancel()
            with suppress(TimeoutError):
                await asyncio.wait_for(asyncio.gather(*callers, return_exceptions=True), 5)

    async def _connection(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, client: httpx.AsyncClient
    ) -> None:
        while True:
            head = await reader.readuntil(b"\r\n\r\n")
            headers = _headers(head)
            body = await reader.readexactly(int(headers["content-length"]))
            key = headers["idempotency-key"]
            self.bodies[key].add(hashlib.sha256(body).hexdigest())
            self._under_way[key] += 1
            if self._under_way[key] > 1:
                self.together[key] += 1
            message = asyncio.ensure_future(self._message(reader, writer, client, key=key, headers=headers, body=body))
            stays = await self._while_there(reader, message)
            self._under_way[key] -= 1
            if not (await message and stays):  # who went away is sent nothing, but what was passed on arrives
                return

    async def _while_there(self, reader: asyncio.StreamReader, message: "asyncio.Future[bool]") -> bool:
        """Wait for the message as long as its sender does; False when the sender went away first."""
        while not message.done():
            if reader.at_eof():
                return False
            await asyncio.wait({message}, timeout=0.01)
        return True

    async def _message(
        self,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
        client: httpx.AsyncClient,
        *,
        key: str,
        headers: dict[str, str],
        body: bytes,
    ) -> bool:
        """Whether the connection stays."""
        fault = self.choose()
        self.became[fault or "passed on"] += 1
        if fault == "reset":
            return False
        if fault == "hang":
            await reader.read(1)  # until the other side has had enough
            return False
        status, said = SAID.get(fault, 0), b"{}"
        if fault in {"", "answer lost", "500 after"}:
            passed = {k: v for k, v in headers.items() if k in {"authorization", "content-type", "accept", "prefer"}}
            answer = await client.post(self.target, content=body, headers=passed)
            self.arrived[key] += answer.is_success
            status, said = status or answer.status_code, answer.content
        if fault == "answer lost":
            return False
        more = b"Retry-After: 1\r\n" if status in {429, 503} else b""
        line = f"HTTP/1.1 {status} Said\r\nContent-Type: application/fhir+json\r\nContent-Length: {len(said)}\r\n"
        writer.write(line.encode() + more + b"\r\n" + said)
        await writer.drain()
        return True


def _headers(head: bytes) -> dict[str, str]:
    lines = head.decode("latin-1").split("\r\n")[1:]
    return {name.strip().lower(): value.strip() for name, _, value in (one.partition(":") for one in lines) if name}
