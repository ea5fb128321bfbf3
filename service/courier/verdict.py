"""Turns an answer into what follows for the post: delivered, tried again, or a dead letter."""

from collections.abc import Callable
from dataclasses import dataclass

from service.courier import response
from service.courier.answer import Answer, NoAnswer
from service.courier.ports import Leased

DELIVERED, WAITING, DEAD = "delivered", "waiting", "dead"
PASSING = frozenset({408, 425, 429})  # 4xx that a repeat can mend; every 5xx can


@dataclass(frozen=True, slots=True)
class Verdict:
    """state and a reason in words; retry_after is the header as it came; disable: the destination is gone for good."""

    state: str
    reason: str
    retry_after: str = ""
    disable: bool = False


Home = Callable[[Leased], Verdict]
"""What takes over posts to organisations of this very service."""


def judge(answer: Answer | NoAnswer, *, sent: bytes) -> Verdict:
    """What follows from this answer to the bytes `sent`; only a proved success counts as delivered."""
    if isinstance(answer, NoAnswer):
        return Verdict(DEAD if answer.hopeless else WAITING, answer.reason)
    if 200 <= answer.status < 300:
        reading = response.read(answer, sent=sent)
        state = DELIVERED if reading.performed else WAITING if reading.again else DEAD
        return Verdict(state, reading.reason)
    if passing(answer.status):
        return Verdict(WAITING, f"answered {answer.status}", answer.retry_after)
    return Verdict(DEAD, _refusal(answer.status), disable=answer.status == 410)


def passing(status: int) -> bool:
    """Whether a repeat can mend what a status says."""
    return status in PASSING or status >= 500


def _refusal(status: int) -> str:
    if 300 <= status < 400:
        return f"answered {status}: redirects are not followed; correct the destination's address"
    if status == 410:
        return "answered 410: the destination is gone for good and was disabled"
    if status in (401, 403):
        return f"answered {status}: the destination's credentials are not accepted"
    return f"answered {status}: refused"
