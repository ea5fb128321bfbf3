"""A notification of a Subscription into its delivery: the subscriber's own address and headers, any 2xx will do."""

import asyncio
import json
from collections.abc import Mapping
from urllib.parse import quote

from service.basics.subscription import HANDSHAKE, PING, PUT
from service.courier import verdict
from service.courier.answer import NoAnswer
from service.courier.line import Halt, Line
from service.courier.verdict import Verdict

_FHIR = {"Content-Type": "application/fhir+json"}


async def carry(line: Line) -> Verdict:
    """Tell the subscriber. A handshake that is not taken at once is not tried again: who asked must look why."""
    try:
        return await _told(line)
    except Halt as halt:
        if line.post.event != HANDSHAKE:
            raise
        raise Halt(Verdict(verdict.DEAD, f"the handshake was not taken: {halt.ruling.reason}"), halt.answer) from None


async def _told(line: Line) -> Verdict:
    post = line.post
    headers = {**_own(post.authorization), **({} if post.form == PING else _FHIR)}
    method, path = ("PUT", _place(post.thread)) if post.form == PUT else ("POST", "")
    seconds = int(json.loads(post.settings or "{}").get("timeout") or 0) or None
    try:
        async with asyncio.timeout(seconds):
            answer = await line.ask(method, path, body=post.body, headers=headers)
    except TimeoutError:
        reason = f"no answer within the {seconds} s that the Subscription allows"
        raise Halt(Verdict(verdict.WAITING, reason), NoAnswer(reason)) from None
    if 200 <= answer.status < 300:
        return Verdict(verdict.DELIVERED, f"answered {answer.status}")
    if line.post.event == HANDSHAKE:
        return Verdict(verdict.DEAD, f"the handshake was answered {answer.status}")
    return verdict.judge(answer, sent=b"")


def _own(secret: str) -> Mapping[str, str]:
    return dict(json.loads(secret or "[]"))


def _place(thread: str) -> str:
    """Type/id of the resource that the thread is about: it ends with it."""
    return "/".join(quote(part, safe="") for part in thread.split("/")[-2:])
