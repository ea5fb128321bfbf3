"""Turns a respx router (or real sockets) and a twin outbox into one run of the courier."""

import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import httpx
import respx

from service import worker
from service.courier.lines import Lines
from service.courier.ports import Outbox
from service.courier.round import Tally
from tests.courier.twin import BUNDLE, Clock, Twin

URL = "http://records.test/fhir"


def response(*statuses: str) -> dict[str, object]:
    """A transaction-response with these entry statuses."""
    return {
        "resourceType": "Bundle",
        "type": "transaction-response",
        "entry": [{"response": {"status": status}} for status in statuses],
    }


PERFORMED = httpx.Response(200, json=response("201 Created", "200"))


@dataclass
class Wire(httpx.AsyncBaseTransport):
    """A respx router handed in as a transport (nothing is patched); its answers arrive unread, as from a socket."""

    router: respx.MockRouter

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        await request.aread()
        answer = await self.router.async_handler(request)
        raw = answer.extensions.get("raw", answer.content)
        return httpx.Response(answer.status_code, headers=answer.headers, stream=httpx.ByteStream(raw))


def carry(
    outbox: Outbox,
    *,
    clock: Callable[[], object] | None = None,
    router: respx.MockRouter | None = None,
    draw: Callable[[int], int] = lambda n: 0,
    seconds: int = 5,
) -> Tally:
    """One run until nothing is due at the clock's time."""
    lines = Lines(transport=Wire(router) if router else None, total_seconds=seconds)
    return worker.run(
        outbox,
        stop=threading.Event(),
        until_idle=True,
        lines=lines,
        now=clock or Clock(),  # type: ignore[arg-type]
        draw=draw,
        worker="courier-a",
    )


def answering(*answers: httpx.Response | Exception) -> respx.MockRouter:
    """A record system that gives these answers in turn, the last one for ever."""
    router = respx.MockRouter(assert_all_called=False)
    left = list(answers)

    def answer(request: httpx.Request) -> httpx.Response:
        assert request.content == BUNDLE, "the stored bytes, as they are"
        this = left.pop(0) if len(left) > 1 else left[0]
        if isinstance(this, Exception):
            raise this
        return this

    router.post(URL).mock(side_effect=answer)
    return router


def until_settled(
    outbox: Twin, *, clock: Clock, router: respx.MockRouter, draw: Callable[[int], int]
) -> list[timedelta]:
    """Runs the courier at every time the post is due; the pauses between the attempts."""
    pauses: list[timedelta] = []
    carry(outbox, clock=clock, router=router, draw=draw)
    while (post := outbox.posts["0001"]).state == "waiting":
        pauses.append(post.due - clock.moment)
        clock.moment = post.due - timedelta(milliseconds=1)
        assert carry(outbox, clock=clock, router=router, draw=draw).waiting == 0, "not before it is due"
        clock.moment = post.due
        carry(outbox, clock=clock, router=router, draw=draw)
    return pauses
