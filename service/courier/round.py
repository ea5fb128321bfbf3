"""The courier's rounds: lease what is due, send it all at once, settle whatever came back, begin again."""

import asyncio
import logging
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from time import monotonic, monotonic_ns

from service.courier import log
from service.courier.attempt import attempt, interrupted
from service.courier.clock import Watch
from service.courier.desk import Desk
from service.courier.lines import Lines
from service.courier.patience import Draw, Now
from service.courier.ports import Leased, Outbox, Settlement

IN_FLIGHT = 64  # posts in the hands of one courier
ARMFUL = 16  # with fewer hands free, looking for more posts waits a moment: each look is a query over all that is due
LEASE_SECONDS = 90  # at least, and three times the longest send: a lease outlives the attempt it was taken for
PAUSE_MILLISECONDS = 250  # between looks at an empty outbox
LOOK_MILLISECONDS = 250  # between looks for more while others are under way
TROUBLED_SECONDS = 5  # after the outbox itself failed
GRACE_SECONDS = 7  # for what is on its way when asked to stop; who asks often kills after ten


@dataclass(slots=True)
class Tally:
    """How the attempts of one run ended.

    late: settled after the lease was lost, so that it changed nothing; unsent: given back without an attempt."""

    delivered: int = 0
    waiting: int = 0
    dead: int = 0
    late: int = 0
    unsent: int = 0


@dataclass(slots=True)
class Courier:
    """One courier over one outbox. The outbox is only touched from one thread and never while waiting for a send."""

    outbox: Outbox
    lines: Lines
    worker: str
    now: Now
    draw: Draw
    pause: int = PAUSE_MILLISECONDS
    in_flight: int = IN_FLIGHT
    grace: int = GRACE_SECONDS
    lease: int = LEASE_SECONDS
    steady: Callable[[], float] = monotonic
    tally: Tally = field(default_factory=Tally)
    _desk: Desk = field(init=False)
    _watch: Watch = field(init=False)
    _sending: dict["asyncio.Task[Settlement | None]", tuple[Leased, datetime]] = field(default_factory=dict)
    _looked: int = 0
    _settled: list[tuple[Leased, Settlement | None]] = field(default_factory=list)
    _troubled: bool = False

    def __post_init__(self) -> None:
        """Open the desk; a lease is long enough for three sends."""
        self._desk = Desk(self.outbox, max(self.lease, 3 * math.ceil(self.lines.seconds)))
        self._watch = Watch(self.now, self.steady, self._desk.seconds)

    async def run(self, stopped: Callable[[], bool], *, until_idle: bool = False) -> Tally:
        """Deliver until `stopped` answers yes, or, with until_idle, until nothing is due; then finish up.

        A failing outbox is logged and tried again: what was sent but not settled is sent again under the same key."""
        while not stopped():
            try:
                took = await self._round()
            except Exception as fault:
                # whatever it was, a courier that stands still in silence would be worse
                log.line("outbox-failed", level=logging.ERROR, fault=type(fault).__name__, worker=self.worker)
                await self._pause(TROUBLED_SECONDS * 1_000, stopped)
                continue
            if not took and until_idle:
                break
            if not took:
                await self._pause(self.pause, stopped)
        await self._close()
        return self.tally

    async def _round(self) -> bool:
        """Settle what came back, lease and send what is due, wait a moment; False when there was nothing to do."""
        for post in await self._desk.at(self._turn, self.in_flight - len(self._sending)):
            sent = attempt(post, lines=self.lines, desk=self._desk, now=self.now, draw=self.draw)
            task = asyncio.create_task(sent)
            self._sending[task] = (post, self.now())
        if not self._sending:
            return False
        done, _ = await asyncio.wait(
            self._sending, timeout=LOOK_MILLISECONDS / 1_000, return_when=asyncio.FIRST_COMPLETED
        )
        self._collect(done)
        return True

    def _turn(self, free: int) -> Sequence[Leased]:
        self._settle()
        moment = monotonic_ns() // 1_000_000
        if not free or (self._sending and free < ARMFUL and moment - self._looked < LOOK_MILLISECONDS):
            return ()
        self._looked = moment
        now, seconds = self.now(), self._desk.seconds
        if self._watch.moved():
            self._mend(now)
        sure = self._watch.trusted()
        return self.outbox.lease(self.worker, limit=free, seconds=seconds, now=now, takeover=sure)

    def _mend(self, now: datetime) -> None:
        posts = self.outbox.clock_set(now=now)
        if self.outbox.stale(now=now):
            self._watch.doubt()  # held by one that died, or by one that lives and took it before the clock was set
        if posts or not self._watch.trusted():
            log.line("clock-set", level=logging.WARNING, worker=self.worker, posts=posts)

    def _settle(self) -> None:
        while self._settled:
            part = self._settled[: 1 if self._troubled else None]
            del self._settled[: len(part)]
            try:
                self._settle_part(part)
            except Exception:
                self._troubled = True  # one by one the next time: what cannot be settled shall hold up nothing else
                # later again, behind the others; once its lease has run out, a post is sent again anyway
                self._settled += [(post, done) for post, done in part if self.now() < post.until]
                raise
        self._troubled = False

    def _settle_part(self, part: list[tuple[Leased, Settlement | None]]) -> None:
        """Settle what was sent in one transaction, and give back what was not sent; what is done leaves the list."""
        sent = [(post, done) for post, done in part if done is not None]
        recorded = self.outbox.settle_many(sent, now=self.now()) if sent else ()
        for (post, done), kept in zip(sent, recorded, strict=True):
            self._count(done.state if kept else "late")
            log.attempt(post, done, worker=self.worker, recorded=kept)
        part[:] = [(post, done) for post, done in part if done is None]
        while part:
            post, _ = part[0]
            self.outbox.release(post)
            del part[0]
            self.tally.unsent += 1
            log.line("not-sent", organization=post.organization, post=post.id, worker=self.worker)

    def _count(self, what: str) -> None:
        setattr(self.tally, what, getattr(self.tally, what) + 1)

    def _collect(self, tasks: "set[asyncio.Task[Settlement | None]]") -> None:
        for task in tasks:
            post, started = self._sending.pop(task)
            done = interrupted(started=started, now=self.now()) if task.cancelled() else task.result()
            self._settled.append((post, done))

    async def _close(self) -> None:
        """Give what is under way a little time, cut off the rest, and settle all of it."""
        if self._sending:
            _, hanging = await asyncio.wait(self._sending, timeout=self.grace)
            for task in hanging:
                task.cancel()
            if hanging:
                await asyncio.wait(hanging)
            self._collect(set(self._sending))
        left = -1
        while self._settled and len(self._settled) != left:  # as long as some of them still can be settled
            left = len(self._settled)
            try:
                await self._desk.at(self._settle)
            except Exception as fault:  # the leases run out and the posts are sent again, under the same keys
                log.line("outbox-failed", level=logging.ERROR, fault=type(fault).__name__, worker=self.worker)
        self._desk.close()

    async def _pause(self, milliseconds: int, stopped: Callable[[], bool]) -> None:
        """Wait, but not longer than a tenth of a second once asked to stop."""
        for _ in range(max(1, milliseconds // 100)):
            if stopped():
                return
            await asyncio.sleep(min(milliseconds, 100) / 1_000)
