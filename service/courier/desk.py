"""The outbox for those who wait for the network: one thread touches it, and never while something is being sent."""

import asyncio
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TypeVar

from service.courier.ports import Counterparts, Leased

T = TypeVar("T")
LATCH = timedelta(seconds=120)  # of a courier that died: nobody else searches and writes the same thing meanwhile


@dataclass(slots=True)
class Desk:
    """Calls of the outbox, one after another; seconds: how long a lease is taken or extended for."""

    outbox: Counterparts
    seconds: int
    _thread: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1, "courier-desk"))

    async def at(self, work: Callable[..., T], *given: object) -> T:
        """Do it in the desk's thread."""
        return await asyncio.get_running_loop().run_in_executor(self._thread, work, *given)

    def left(self, until: datetime, *, now: datetime) -> float:
        """Seconds until a lease ends."""
        return (until - now).total_seconds()

    async def extend(self, post: Leased, *, now: datetime) -> datetime | None:
        """Hold a lease for longer: until when, or None when it is no longer ours."""
        kept = await self.at(lambda: self.outbox.extend(post, seconds=self.seconds, now=now))
        return now + timedelta(seconds=self.seconds) if kept else None

    async def counterparts(self, post: Leased, ours: Iterable[str]) -> dict[str, str]:
        """What the destination is known to call resources of ours."""
        return await self.at(self.outbox.counterparts, post, ours)

    async def learn(self, post: Leased, names: Mapping[str, str]) -> None:
        """Keep what the destination calls resources of ours; "" forgets."""
        await self.at(self.outbox.learn, post, names)

    async def latch(self, post: Leased, name: str, *, now: datetime) -> bool:
        """Take the right to search for and write one thing; False while another courier has it."""
        return await self.at(lambda: self.outbox.latch(post, name, until=now + LATCH, now=now))

    async def unlatch(self, post: Leased, name: str) -> None:
        """Give it back."""
        await self.at(self.outbox.unlatch, post, name)

    def close(self) -> None:
        """End the thread."""
        self._thread.shutdown()
