"""The back door: turns an outbox into a courier that runs until it is told to stop."""

import asyncio
import os
import random
import signal
import socket
import threading
import time
from collections.abc import Callable, Collection
from datetime import UTC, datetime
from types import FrameType

from service.courier import log
from service.courier.credentials import Keys, Smart
from service.courier.lines import TOTAL_SECONDS, Lines
from service.courier.patience import Draw
from service.courier.ports import Outbox
from service.courier.round import LEASE_SECONDS, PAUSE_MILLISECONDS, Courier, Tally
from service.courier.verdict import Home


def run(
    outbox: Outbox,
    *,
    stop: threading.Event,
    until_idle: bool = False,
    lines: Lines | None = None,
    pause: float = PAUSE_MILLISECONDS / 1_000,
    timeout: float = TOTAL_SECONDS,
    private: Collection[str] = (),
    keys: Keys | None = None,
    now: Callable[[], datetime] = lambda: datetime.now(UTC),
    draw: Draw = random.randrange,
    steady: Callable[[], float] = time.monotonic,
    lease: int = LEASE_SECONDS,
    worker: str = "",
    home: Home | None = None,
) -> Tally:
    """Deliver posts until `stop` is set (or, with until_idle, until none is due); answers how the attempts ended.

    pause: seconds between looks at an empty outbox; timeout: seconds a receiver may take in all (lines brings its own);
    private: hosts of one's own network that Subscriptions may lead to; keys: by which we say who we are;
    home: takes over what goes to an organisation of this very service;
    steady: seconds of a clock that nobody sets; lease: seconds that a post is taken for, three sends at least.
    What is on its way when `stop` is set gets seven seconds; what is then cut off is due again at once."""

    async def courier() -> Tally:
        smart = Smart(keys, private=private, now=now) if keys else None
        async with lines or Lines(total_seconds=timeout, credentials=smart, private=private) as open_lines:
            open_lines.home = home or open_lines.home
            who, milliseconds = worker or name(), int(pause * 1_000)
            carrier = Courier(outbox, open_lines, who, now, draw, pause=milliseconds, lease=lease, steady=steady)
            return await carrier.run(stop.is_set, until_idle=until_idle)

    log.hush()
    return asyncio.run(courier())


def name() -> str:
    """What tells this courier from others in the attempts and the log: host, process, and a word of chance."""
    return f"{socket.gethostname()[:40]}-{os.getpid()}-{random.randrange(16**6):06x}"


def stop_on_signals() -> threading.Event:
    """An event that SIGTERM or SIGINT sets; only for the main thread of a process that is nothing but a courier."""
    stop = threading.Event()

    def hear(number: int, frame: FrameType | None) -> None:
        stop.set()

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, hear)
    return stop
