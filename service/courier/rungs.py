"""The rungs below a transaction: a batch for each wave, single conditional writes, and searching before writing."""

import asyncio
from abc import abstractmethod
from collections.abc import Sequence
from typing import Any

from service.courier import found, response, verdict
from service.courier.answer import Answer
from service.courier.entries import Entry
from service.courier.found import There
from service.courier.ladder import Ladder, label
from service.fhir import exact

PATIENCE = (0.02, 0.05, 0.1, 0.2, 0.4, 0.8, 1.6)  # seconds between tries for a latch
SEEN_FIRST = (409, 412, 428)  # the version there has to be read and named


class Batch(Ladder):
    """Each wave of entries is one batch of conditional writes."""

    async def write(self, wave: Sequence[Entry]) -> None:
        """Send the wave, keep what succeeded, and say of the rest what failed."""
        sent = exact.encode({"resourceType": "Bundle", "type": "batch", "entry": [self._entry(one) for one in wave]})
        answer = await self.line.ask("POST", body=sent)
        if not 200 <= answer.status < 300:
            raise self.line.halt(verdict.judge(answer, sent=sent).state, verdict.judge(answer, sent=sent).reason)
        parts = response.parts(answer)
        if parts is None or len(parts) != len(wave):
            raise self.line.halt(verdict.DEAD, response.read(answer, sent=sent).reason)
        failed: list[tuple[Entry, str]] = []
        for entry, part in zip(wave, parts, strict=True):
            if part.status[:1] == "2":
                self.made += part.status[:3] == "201"
                await self.settle(entry, found.located(part.location, entry.type) or await self._asked(entry))
            else:
                failed.append((entry, part.status[:3]))
        if failed:
            raise self.line.halt(*_ruling(failed))

    async def _asked(self, entry: Entry) -> There:
        return await self.line.the_one(entry.sought)

    def _entry(self, entry: Entry) -> dict[str, Any]:
        type_, _, criteria = entry.sought.partition("?")
        request = {"method": "PUT", "url": entry.sought}
        if entry.once:
            request = {"method": "POST", "url": type_, "ifNoneExist": criteria}
        return {"resource": exact.trusted(self.body(entry)), "request": request}


class OneByOne(Ladder):
    """Each entry is written by itself."""

    async def write(self, wave: Sequence[Entry]) -> None:
        """Write entries that name nothing that is not there yet."""
        for entry in wave:
            await self.settle(entry, await self.place(entry))

    @abstractmethod
    async def place(self, entry: Entry) -> There:
        """Write one entry; what it is called there."""


class Single(OneByOne):
    """Each entry is a conditional update, or a conditional create where it is to be left alone when it is there."""

    async def place(self, entry: Entry) -> There:
        """Write one entry; what it is called there."""
        type_, _, criteria = entry.sought.partition("?")
        if entry.once:
            headers = {"If-None-Exist": criteria}
            answer = await self.tell("POST", type_, body=self.body(entry), headers=headers)
        else:
            answer = await self.tell("PUT", entry.sought, body=self.body(entry))
        return await self.accepted(entry, answer)


class Search(OneByOne):
    """Each entry is searched for and then written under the id it has there, while no other courier does the same."""

    async def place(self, entry: Entry) -> There:
        """Write one entry; what it is called there. What is known to be there needs no search, and so no latch."""
        there = await self._known(entry)
        if there is not None:
            return there
        line = self.line
        await self._latched(entry)
        try:
            self.known |= await line.desk.counterparts(
                line.post, [entry.sought]
            )  # another one may just have brought it
            there = await self._known(entry) or await self._sought(entry)
            await self.settle(entry, there)  # whoever gets the latch next knows it, even where a search lags behind
            return there
        finally:
            await line.desk.unlatch(line.post, entry.sought)

    async def _latched(self, entry: Entry) -> None:
        for seconds in PATIENCE:
            if await self.line.desk.latch(self.line.post, entry.sought, now=self.line.now()):
                return
            await asyncio.sleep(seconds)
        raise self.line.halt(verdict.WAITING, f"{label(entry)}: another courier is writing the same thing")

    async def _known(self, entry: Entry) -> There | None:
        """Write it under the name it is known to have; None when it has none, or that leads nowhere by now."""
        known = self.known.get(entry.sought)
        if not known:
            return None
        if entry.once:
            return There(known)
        answer = await self._put(entry, There(known))
        if answer.status in (404, 410):  # it is called otherwise by now, or gone: what was known is forgotten
            del self.known[entry.sought]
            await self.line.desk.learn(self.line.post, {entry.sought: ""})
            return None
        if answer.status in SEEN_FIRST:
            return await self._sought(entry)
        return await self.accepted(entry, answer)

    async def _sought(self, entry: Entry) -> There:
        there = await self.line.seek(entry.sought)
        if len(there) > 1:
            words = f"{label(entry)}: {len(there)} resources there bear its identifier"
            raise self.line.halt(verdict.DEAD, words)
        if not there:
            answer = await self.tell("POST", entry.type, body=self.body(entry))
            return await self.accepted(entry, answer)
        if entry.once:
            return there[0]
        return await self.accepted(entry, await self._put(entry, there[0]))

    async def _put(self, entry: Entry, there: There) -> Answer:
        headers = {"If-Match": there.version} if there.version else {}
        id_ = there.name.partition("/")[2]
        return await self.tell("PUT", there.name, body=self.body(entry, id_=id_), headers=headers)


RUNGS: dict[str, type[Ladder]] = {"batch": Batch, "single": Single, "search": Search}


def _ruling(failed: list[tuple[Entry, str]]) -> tuple[str, str]:
    named = ", ".join(f"{label(entry)} {status}" for entry, status in failed[:10])
    again = all(status.isdecimal() and (verdict.passing(int(status)) or status == "409") for _, status in failed)
    return (verdict.WAITING if again else verdict.DEAD), f"{len(failed)} entries failed: {named}"
