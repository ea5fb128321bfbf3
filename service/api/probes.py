"""Livez, readyz and metrics: whether the service lives, can work, and how much it does."""

import asyncio
import json
import logging

from service.access import roles
from service.api import door, outcomes
from service.api.answers import Answer
from service.api.door import NOTE, Note, Receive, Scope, Send
from service.api.given import Given
from service.api.kit import Kit
from service.api.metrics import Metrics
from service.api.reception import Reception
from service.basics.errors import Fault, NotAllowed, NotPermitted, Refusal

_JSON = b"application/json"
_log = logging.getLogger("sonoledger.api")


class Probe:
    """An ASGI endpoint for GET and HEAD on one of PROBES."""

    def __init__(self, kit: Kit, name: str, *, metrics: Metrics) -> None:
        self._kit = kit
        self._name = name
        self._metrics = metrics
        self._reception = Reception(kit)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        note: Note = scope[NOTE]
        note.route = note.action = self._name
        head = scope["method"] == "HEAD"
        try:
            if scope["method"] not in {"GET", "HEAD"}:
                raise NotAllowed(Fault("not-supported", f"{self._name} can only be read."))
            answer = await self._answer(scope, note)
        except Refusal as refusal:
            answer = outcomes.refused(refusal, allow="GET, HEAD")
        await door.reply(send, answer, head=head)

    async def _answer(self, scope: Scope, note: Note) -> Answer:
        if self._name == "/livez":
            return Answer(200, b'{"status":"alive"}', media=_JSON)
        if self._name == "/readyz":
            return await self._ready()
        # What is counted tells how busy everyone is: only those who are let in at all may see it.
        caller = await self._reception.caller(Given(scope).headers, request=note.request)
        if not roles.operates(caller.role, "metrics"):
            raise NotPermitted(Fault("forbidden", f"The role {caller.role} may not read what is counted."))
        return Answer(200, await asyncio.to_thread(self._metrics.text), media=self._metrics.media)

    async def _ready(self) -> Answer:
        faults = await asyncio.to_thread(self._kit.books.ready)
        if not faults:
            return Answer(200, await asyncio.to_thread(self._standing), media=_JSON)
        _log.error(json.dumps({"action": "readyz", "faults": list(faults)}))
        return Answer(503, b'{"status":"not ready"}', ((b"retry-after", b"5"),), media=_JSON)

    def _standing(self) -> bytes:
        """That it is ready, and what somebody should look at all the same: numbers alone, for anybody can ask."""
        read = {name: int(self._kit.gauges[name][1]()) for name in ATTENTION if name in self._kit.gauges}
        standing = {name: count for name, count in read.items() if count}
        return json.dumps({"status": "ready", **({"attention": standing} if standing else {})}).encode()


ATTENTION = ("destinations_gone",)
PROBES = ("/livez", "/readyz", "/metrics")
