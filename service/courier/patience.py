"""Turns the count of failed attempts, and what the other side asked for, into the pause before the next one."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime

# Seconds before each repeat, 75 h 37 min in all; the shape (fast, then slow over three days) is that of the example
# schedule of Standard Webhooks 1.0. After the last one the post is a dead letter.
DELAYS = (5, 30, 120, 300, 1_800, 7_200, 18_000, 36_000, 50_400, 72_000, 86_400)
JITTER = 200  # per mille, upwards only: the declared span is a promise, so chance may not shorten it
LONGEST = timedelta(hours=24)

Now = Callable[[], datetime]
Draw = Callable[[int], int]  # draw(n): a whole number from 0 to n - 1, as random.randrange


def pause(tries: int, *, draw: Draw, asked: timedelta | None = None) -> timedelta | None:
    """How long to wait after `tries` failed attempts (1 or more), at least as long as asked; None: enough is enough."""
    if tries > len(DELAYS):
        return None
    milliseconds = DELAYS[tries - 1] * (1_000 + draw(JITTER + 1))
    return max(timedelta(milliseconds=milliseconds), asked or timedelta())


def asked_pause(retry_after: str, *, now: datetime) -> timedelta | None:
    """The pause that a Retry-After header asks for (RFC 9110: seconds or a date), at most 24 hours; None: none."""
    text = retry_after.strip()
    if text.isascii() and text.isdigit():
        return min(timedelta(seconds=int(text[:9])), LONGEST) if len(text) <= 9 else LONGEST
    wait = _until(text, now=now)
    return min(wait, LONGEST) if wait and wait > timedelta() else None


def _until(text: str, *, now: datetime) -> timedelta | None:
    try:
        then = parsedate_to_datetime(text)
        return (then if then.tzinfo else then.replace(tzinfo=UTC)) - now  # "-0000" reads as a naive UTC time
    except (ValueError, OverflowError):
        return None
