"""What goes on beside the answers, in threads: clocks of urgent findings and subscriptions, exceptions of billing."""

import json
import logging
import threading
from collections.abc import Callable, Iterable

from service.actions import billing_check, escalate_urgent, watch_subscriptions
from service.actions.ports import House

SECONDS = 20.0  # between two looks
WATCHES = (escalate_urgent.watch, billing_check.watch, watch_subscriptions.watch)
_log = logging.getLogger("sonoledger.watch")

Watch = Callable[..., None]


def threads(
    house: House, organizations: Callable[[], Iterable[str]], *, stop: threading.Event
) -> list[threading.Thread]:
    """A thread for each watch, not yet started; they end soon after `stop` is set."""
    return [threading.Thread(target=keep, args=(one, house, organizations, stop)) for one in WATCHES]


def keep(
    watch: Watch,
    house: House,
    organizations: Callable[[], Iterable[str]],
    stop: threading.Event,
    *,
    pause: float = SECONDS,
) -> None:
    """Let a watch go on until stopped; one that breaks is told in the log and goes on after a pause."""
    while not stop.is_set():
        try:
            watch(house, organizations, stop=stop, pause=pause)
        except Exception as error:
            _log.error(json.dumps({"action": "watch", "error": type(error).__name__}))
            stop.wait(pause)
