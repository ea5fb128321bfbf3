"""Turns what the courier did into one JSON line each: ids, states and durations, never names, bodies or credentials."""

import json
import logging

from service.courier.ports import Leased, Settlement

LOGGER = logging.getLogger("sonoledger.courier")


def hush() -> None:
    """Keep the HTTP client's own lines out of the log: they have addresses and headers in them."""
    for name in ("httpx", "httpcore"):
        logging.getLogger(name).setLevel(logging.WARNING)


def line(action: str, *, level: int = logging.INFO, **facts: str | int | None) -> None:
    """Write one line, `action` first."""
    if LOGGER.isEnabledFor(level):
        LOGGER.log(level, json.dumps({"action": action, **{k: v for k, v in facts.items() if v is not None}}))


def attempt(post: Leased, done: Settlement, *, worker: str, recorded: bool) -> None:
    """The line of one attempt; a dead letter, a disabled destination or a lost lease is a warning."""
    loud = done.state == "dead" or done.disable or not recorded
    line(
        "deliver" if recorded else "deliver-late",
        level=logging.WARNING if loud else logging.INFO,
        organization=post.organization,
        destination=post.destination,
        post=post.id,
        thread=post.thread,
        event=post.event,
        attempt=post.tries + 1,
        state=done.state,
        status=done.status,
        ms=done.milliseconds,
        due=done.due.isoformat(timespec="seconds") if done.due else None,
        disabled="yes" if done.disable else None,
        worker=worker,
    )
