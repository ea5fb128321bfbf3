"""The audit of reads and refusals: gathered here, written in batches, never in the way of an answer."""

import asyncio
import json
import logging
from collections.abc import Callable
from datetime import UTC, datetime
from time import monotonic

from service.actions.ports import Caller
from service.api.offers import Offer
from service.basics.ids import new_id
from service.basics.stored import ENTITIES, LOGIN, Trace
from service.fhir import exact

Line = tuple[str, Trace]
_log = logging.getLogger("sonoledger.audit")

PAUSE = 1.0
"""Seconds between two batches."""
_ROOM = 20_000
_BATCH = 500
_STRANGERS = 100
_ACTIONS = {"create": "C", "read": "R", "vread": "R", "update": "U", "patch": "U", "delete": "D"}


class Audit:
    """Keeps lines until `write` has taken them; what can't be written is kept and tried again.

    Only when _ROOM lines wait (the store has been away for long) are further ones dropped, counted and logged."""

    def __init__(self, write: Callable[[list[Line]], None], *, clock: Callable[[], float] = monotonic) -> None:
        self._write = write
        self._lines: list[Line] = []
        self._clock = clock
        self._room, self._looked = float(_STRANGERS), clock()
        self.dropped = 0

    def note(self, line: Line) -> None:
        """Keep one line; never fails."""
        if len(self._lines) >= _ROOM:
            self.dropped += 1
        else:
            self._lines.append(line)

    def stranger(self, line: Line) -> None:
        """Keep a line about somebody whom nobody knows: one a second, _STRANGERS at once; the rest is counted.

        Who needs no token to leave lines could else fill the store with them."""
        now = self._clock()
        self._room = min(_STRANGERS, self._room + now - self._looked)
        self._looked = now
        if self._room < 1:
            self.dropped += 1
            return
        self._room -= 1
        self.note(line)

    def flush(self) -> bool:
        """Write what waits; False when the store would not take it."""
        while self._lines:
            batch = self._lines[:_BATCH]
            try:
                self._write(batch)
            except Exception as error:
                self._complain(type(error).__name__)
                return False
            del self._lines[: len(batch)]
        return True

    async def run(self) -> None:
        """Write what waits, again and again, until cancelled; the pause grows while the store is away."""
        pause = PAUSE
        while True:
            await asyncio.sleep(pause)
            written = await asyncio.to_thread(self.flush)
            pause = PAUSE if written else min(pause * 2, 60.0)

    def _complain(self, error: str) -> None:
        waiting = {"action": "audit", "error": error, "waiting": len(self._lines), "dropped": self.dropped}
        _log.error(json.dumps(waiting))


def line(caller: Caller, offer: Offer, *, status: int, target: tuple[str, str], seen: tuple[str, ...] = ()) -> Line:
    """The line of one interaction. target: (type, id) of what was asked for; seen: references that were shown."""
    return caller.organization, Trace(
        id=new_id(),
        recorded=exact.instant(datetime.now(UTC)),
        interaction=offer.code,
        action=_ACTIONS.get(offer.code, "E"),
        outcome="0" if status < 400 else "4" if status < 500 else "8",
        client=caller.label,
        request=caller.request,
        address=caller.address,
        type=target[0],
        id_of=target[1],
        operation=offer.operation,
        entities=seen[:ENTITIES],
    )


def login(organization: str, name: str, *, request: str, outcome: str, address: str = "") -> Line:
    """The line of a client that asked for a token; without an organisation when nobody is known by that name."""
    when = exact.instant(datetime.now(UTC))
    return organization, Trace(new_id(), when, LOGIN, "E", outcome, name, request, address=address)
