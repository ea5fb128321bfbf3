"""Turns one leased post into one attempt: send, judge, and say what follows and when."""

import asyncio
import logging
from datetime import datetime, timedelta
from time import monotonic_ns

from service.courier import log, patience, verdict
from service.courier.answer import Answer, NoAnswer, shortened
from service.courier.desk import Desk
from service.courier.forms import carry
from service.courier.line import Line, Lost
from service.courier.lines import Lines
from service.courier.patience import Draw, Now
from service.courier.ports import Leased, Settlement


async def attempt(post: Leased, *, lines: Lines, desk: Desk, now: Now, draw: Draw) -> Settlement | None:
    """Send the post once and settle its fate; None when there is nothing to settle.

    That is so when too little of the lease is left, when a shutdown came before its turn, or when the lease went to
    another courier on the way."""
    turn = lines.turn(post)
    try:
        await turn.acquire()
    except asyncio.CancelledError:
        return None
    try:
        started = now()
        if started + timedelta(seconds=lines.seconds) > post.until:
            return None  # a courier that was stopped and woke up: another one may be sending this by now
        begun = monotonic_ns()
        answer, ruling = await _carried(Line(lines, post, desk, now, post.until))
        milliseconds = (monotonic_ns() - begun) // 1_000_000
    except Lost:
        return None
    finally:
        turn.release()
    return _settlement(post, answer, ruling=ruling, started=started, ended=now(), milliseconds=milliseconds, draw=draw)


async def _carried(line: Line) -> tuple[Answer | NoAnswer, verdict.Verdict]:
    try:
        return await carry(line)
    except Lost:
        raise
    except Exception as fault:
        # a fault of ours may not strand the post: it waits, counts its attempts and ends as a visible dead letter
        log.line("attempt-failed", level=logging.ERROR, post=line.post.id, fault=type(fault).__name__)
        reason = f"fault inside the courier ({type(fault).__name__}); whether it arrived is unknown"
        return NoAnswer(reason), verdict.Verdict(verdict.WAITING, reason)


def interrupted(*, started: datetime, now: datetime) -> Settlement:
    """The attempt that a shutdown cut off: its outcome is unknown, so the post is due again at once."""
    return Settlement(
        state=verdict.WAITING,
        started=started,
        milliseconds=max(0, (now - started) // timedelta(milliseconds=1)),
        status=None,
        reason="cut off by a shutdown; whether it arrived is unknown",
        due=now,
    )


def _settlement(
    post: Leased,
    answer: Answer | NoAnswer,
    *,
    ruling: verdict.Verdict,
    started: datetime,
    ended: datetime,
    milliseconds: int,
    draw: Draw,
) -> Settlement:
    state, reason, due = ruling.state, ruling.reason, None
    if state == verdict.WAITING:
        asked = patience.asked_pause(ruling.retry_after, now=ended)
        wait = patience.pause(post.tries + 1, draw=draw, asked=asked)
        due = ended + wait if wait else None
        if due is None:
            state, reason = verdict.DEAD, f"given up after {post.tries + 1} attempts; the last one: {reason}"
    return Settlement(
        state=state,
        started=started,
        milliseconds=milliseconds,
        status=answer.status if isinstance(answer, Answer) else None,
        reason=reason,
        answer=shortened(answer),
        due=due,
        disable=ruling.disable,
    )
