"""Writes that wait, into threads: side by side where the engine allows it, else in turn with one commit for several."""

import asyncio
import threading
from collections import deque
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from time import perf_counter
from typing import Protocol

from service.api.answers import Answer
from service.api.ask import Ask
from service.api.kit import Records

Run = Callable[[Ask], Answer]
_LONG = 64 * 1024  # bytes of a body that has a commit of its own: others must not wait for it
_PATIENCE = 0.01  # seconds after which no further write joins a commit
_MOST = 64


class Writers(Protocol):
    """Runs writes somewhere else than on the event loop."""

    async def write(self, run: Run, ask: Ask) -> Answer: ...
    def close(self) -> None: ...


class Beside:
    """Each write in a thread with a transaction of its own."""

    def __init__(self, threads: int) -> None:
        self._threads = ThreadPoolExecutor(threads, thread_name_prefix="write")

    async def write(self, run: Run, ask: Ask) -> Answer:
        """The answer, or whatever the write raises."""
        return await asyncio.get_running_loop().run_in_executor(self._threads, run, ask)

    def close(self) -> None:
        """Wait for what is running and let the threads go."""
        self._threads.shutdown()


class Waiting:
    """One write that waits for its turn, and what became of it."""

    __slots__ = ("answer", "ask", "error", "future", "run")

    def __init__(self, run: Run, ask: Ask, future: "asyncio.Future[Answer]") -> None:
        self.run, self.ask, self.future = run, ask, future
        self.answer: Answer | None = None
        self.error: BaseException | None = None

    def take(self) -> None:
        """Run it; nobody is told before the commit."""
        try:
            self.answer = self.run(self.ask)
        except Exception as error:
            self.error = error

    def tell(self) -> None:
        """On the event loop: hand the outcome to the request, unless its caller went away."""
        if self.future.cancelled():
            return
        if self.error is not None:
            self.future.set_exception(self.error)
        elif self.answer is not None:
            self.future.set_result(self.answer)


class InTurn:
    """One thread writes for all: what waits while it commits is written next, and shares one commit.

    A write that raises is undone alone. When the shared commit fails, all that shared it fail with it."""

    def __init__(self, books: Records) -> None:
        self._books = books
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="write")
        self._lock = threading.Lock()
        self._queue: deque[Waiting] = deque()
        self._running = False

    async def write(self, run: Run, ask: Ask) -> Answer:
        """The answer once it is committed, or whatever the write or its commit raises."""
        loop = asyncio.get_running_loop()
        one = Waiting(run, ask, loop.create_future())
        with self._lock:
            self._queue.append(one)
            start, self._running = not self._running, True
        if start:
            self._thread.submit(self._drain, loop)
        return await one.future

    def close(self) -> None:
        """Wait for what is running and let the thread go."""
        self._thread.shutdown()

    def _drain(self, loop: asyncio.AbstractEventLoop) -> None:
        while done := self._turn():
            loop.call_soon_threadsafe(_tell, done)

    def _turn(self) -> list[Waiting]:
        """What shared the next commit; nothing when nobody waits."""
        first = self._next()
        if first is None:
            return []
        if len(first.ask.body) > _LONG or not self._queue:
            first.take()
            return [first]
        done = [first]
        try:
            with self._books.together():
                self._join(done)
        except Exception as error:
            for one in done:
                one.error = error
        return done

    def _join(self, done: list[Waiting]) -> None:
        until = perf_counter() + _PATIENCE
        done[0].take()
        while len(done) < _MOST and perf_counter() < until:
            following = self._next(short=True)
            if following is None:
                return
            done.append(following)
            following.take()

    def _next(self, *, short: bool = False) -> Waiting | None:
        """The one whose turn it is; short: only one that may join others. None lets the thread stop."""
        with self._lock:
            if self._queue and not (short and len(self._queue[0].ask.body) > _LONG):
                return self._queue.popleft()
            self._running = self._running and (short or bool(self._queue))
            return None


def _tell(done: Iterable[Waiting]) -> None:
    for one in done:
        one.tell()
