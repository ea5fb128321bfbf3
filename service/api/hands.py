"""Where an interaction is run: on the event loop, or in a thread, with patience when the store is busy."""

import asyncio
import gc
import random
from concurrent.futures import ThreadPoolExecutor

from service.api.answerers import answerer
from service.api.answers import Answer
from service.api.ask import Ask
from service.api.kit import Kit
from service.api.offers import Offer
from service.api.writers import Beside, InTurn, Writers
from service.basics.errors import Busy

TRIES = 4
_PAUSE = 0.03
_LARGE = 256 * 1024  # bytes of a body whose values are looked for and given back at once: a millisecond's work


class Hands:
    """The threads of one application. Writes have theirs, so that they never wait behind slow reads."""

    def __init__(self, kit: Kit) -> None:
        self._inline = kit.books.reads_inline
        self._writers: Writers = InTurn(kit.books) if kit.books.one_writer else Beside(kit.writers)
        self._readers = ThreadPoolExecutor(kit.readers, thread_name_prefix="read")

    async def run(self, offer: Offer, ask: Ask) -> Answer:
        """The answer of an interaction. A write that the store was too busy for is done again, TRIES times in all."""
        try:
            return await self._run(offer, ask)
        finally:
            if len(ask.body) > _LARGE:
                gc.collect()  # a refusal holds what was refused in a ring: a few of them would take as much as the rest

    async def _run(self, offer: Offer, ask: Ask) -> Answer:
        run = answerer(offer, ask.type)
        if not offer.writes:
            if self._inline and not offer.operation:  # an operation may look at much: others must not wait for it
                return run(ask)
            return await asyncio.get_running_loop().run_in_executor(self._readers, run, ask)
        for tried in range(1, TRIES):
            try:
                return await self._write(offer, ask)
            except Busy as busy:
                if busy.retry_after is None:  # it may have been stored: only the caller can tell whether to repeat
                    raise
                await asyncio.sleep(_PAUSE * 2**tried * (0.5 + random.random()))
        return await self._write(offer, ask)

    async def _write(self, offer: Offer, ask: Ask) -> Answer:
        return await self._writers.write(answerer(offer, ask.type), ask)

    def close(self) -> None:
        """Wait for what is running and let the threads go."""
        self._writers.close()
        self._readers.shutdown()
