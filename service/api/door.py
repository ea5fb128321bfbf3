"""Around every request: its id, its log line, its count, and an answer even when something breaks."""

import logging
import re
from collections.abc import Awaitable, Callable, MutableMapping
from dataclasses import dataclass
from time import perf_counter
from traceback import extract_tb
from typing import Any

from service.api import outcomes
from service.api.answers import FHIR, Answer, Header
from service.api.body import Disconnected
from service.api.cors import Cors
from service.api.log import said
from service.api.metrics import Metrics
from service.basics.ids import new_id

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

NOTE = "sonoledger.note"
_log = logging.getLogger("sonoledger.api")
_ID = re.compile(rb"[A-Za-z0-9._:\-]{1,64}")
_ECHOED = re.compile(rb"[!-~][ -~]{0,254}")
_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "DELETE", "PATCH", "OPTIONS"})
_ALWAYS: tuple[Header, ...] = (
    (b"cache-control", b"no-store"),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
)


@dataclass(slots=True)
class Note:
    """What is learnt about a request on its way in, for its log line; never names, tokens, bodies or query strings."""

    request: str
    route: str = "other"
    action: str = ""
    organization: str = ""
    type: str = ""
    id: str = ""
    status: int = 0


class Door:
    """Pure ASGI middleware."""

    def __init__(self, app: App, *, metrics: Metrics, cors: Cors) -> None:
        self._app = app
        self._metrics = metrics
        self._cors = cors

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        asked = scope["headers"]
        note = scope[NOTE] = Note(_request_id(asked))
        always = (*_ALWAYS, *_named(note.request.encode(), asked), *self._cors.headers(asked))

        async def marked(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                note.status = message["status"]
                message["headers"] = [*message.get("headers", ()), *always]
            await send(message)

        began = perf_counter()
        try:
            await self._guarded(scope, receive, marked)
        finally:
            self._record(scope, note, perf_counter() - began)

    async def _guarded(self, scope: Scope, receive: Receive, send: Send) -> None:
        note: Note = scope[NOTE]
        preflight = self._cors.preflight(scope["method"], scope["headers"])
        try:
            await (reply(send, preflight) if preflight else self._app(scope, receive, send))
        except Disconnected:
            note.status = 499  # nobody is left to be answered; the number is only for the log
        except Exception as error:
            _log.error(said({"action": note.action, "request": note.request, "unexpected": _told(error)}))
            if note.status:
                raise
            await reply(send, outcomes.broken(note.request))

    def _record(self, scope: Scope, note: Note, seconds: float) -> None:
        method = scope["method"] if scope["method"] in _METHODS else "other"
        self._metrics.answered(method, note.route, status=note.status, seconds=seconds)
        if not _log.isEnabledFor(logging.INFO):
            return
        line = {
            "action": note.action or "request",
            "request": note.request,
            "method": method,
            "route": note.route,
            "organization": note.organization,
            "type": note.type,
            "id": note.id,
            "status": note.status,
            "ms": round(seconds * 1000, 2),
        }
        _log.info(said({key: value for key, value in line.items() if value != ""}))


async def reply(send: Send, answer: Answer, *, media: bytes = FHIR, head: bool = False) -> None:
    """Send an answer; to HEAD everything but the body."""
    headers = list(answer.headers)
    if answer.body:
        headers.append((b"content-type", answer.media or media))
    if answer.status not in {204, 304}:
        headers.append((b"content-length", str(len(answer.body)).encode()))
    await send({"type": "http.response.start", "status": answer.status, "headers": headers})
    await send({"type": "http.response.body", "body": b"" if head else answer.body})


def _told(error: BaseException) -> list[str]:
    """Where it broke, by files and lines alone: the words of an exception may hold what was sent."""
    frames = [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in extract_tb(error.__traceback__)]
    cause = error.__cause__ or error.__context__
    return [type(error).__name__, *frames[-8:]] + (_told(cause) if cause else [])


def _request_id(headers: list[Header]) -> str:
    """The caller's own id when it is harmless in a log, else a new one."""
    given = _given_id(headers)
    return given.decode() if _ID.fullmatch(given) else new_id()


def _named(ours: bytes, headers: list[Header]) -> tuple[Header, ...]:
    """The request's id, and the caller's own beside it where that was not fit to be ours."""
    given = _given_id(headers)
    told = ((b"x-correlation-id", given),) if given != ours and _ECHOED.fullmatch(given) else ()
    return ((b"x-request-id", ours), *told)


def _given_id(headers: list[Header]) -> bytes:
    return next((value for name, value in headers if name == b"x-request-id"), b"")
