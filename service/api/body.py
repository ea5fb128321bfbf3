"""The body of a request into bytes, never more than its limit and never longer than its time."""

import asyncio
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from typing import Any

from service.api import media
from service.api.kit import Limits
from service.api.outcomes import TooSlow
from service.basics.errors import Fault, TooLarge

Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]


class Disconnected(Exception):
    """The caller went away before its body was here; there is nobody to answer."""


async def taken(receive: Receive, headers: Mapping[str, str], *, kind: str, limits: Limits) -> bytes:
    """The body of an offer of this kind ("json", "patch", "bundle", "form" ...); raises WrongMedia for another type."""
    declared = headers.get("content-length", "")
    encoding = headers.get("content-encoding", "")
    empty = kind == "perhaps" and declared in {"", "0"} and "transfer-encoding" not in headers
    if kind == "form":
        media.check_form(headers.get("content-type", ""), encoding)
    elif kind == "patch":
        media.check_patch(headers.get("content-type", ""), encoding)
    elif not empty:
        media.check_json(headers.get("content-type", ""), encoding)
    limit = limits.bundle if kind == "bundle" else limits.body
    return await read(receive, declared=declared, limit=limit, seconds=limits.seconds)


async def read(receive: Receive, *, declared: str, limit: int, seconds: float) -> bytes:
    """The whole body. declared is Content-Length ("" when chunked); raises TooLarge, TooSlow or Disconnected."""
    if declared.isdigit() and int(declared[:19]) > limit:
        raise _too_large(limit)
    try:
        async with asyncio.timeout(seconds):
            return await _collect(receive, limit)
    except TimeoutError as e:
        raise TooSlow(Fault("timeout", f"The body did not arrive within {seconds:g} seconds.")) from e


async def _collect(receive: Receive, limit: int) -> bytes:
    parts: list[bytes] = []
    size = 0
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise Disconnected
        part = message.get("body", b"")
        size += len(part)
        if size > limit:
            raise _too_large(limit)
        parts.append(part)
        if not message.get("more_body", False):
            return b"".join(parts)


def _too_large(limit: int) -> TooLarge:
    return TooLarge(Fault("too-long", f"The body is larger than {limit} bytes. Send it in smaller parts."))
