"""A promised transaction for a record system that takes none: its entries written in parts, by identifier."""

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from service.courier import found, verdict
from service.courier.answer import Answer
from service.courier.entries import Entry, entries, is_conditional, recalled, resolved, waves
from service.courier.found import There
from service.courier.line import Line
from service.courier.verdict import Verdict
from service.fhir import exact


@dataclass(slots=True)
class Ladder(ABC):
    """Writes the entries one by one; `names` is what the destination calls them, and what they refer to."""

    line: Line
    names: dict[str, str] = field(default_factory=dict)
    known: dict[str, str] = field(default_factory=dict)  # "Type?identifier=..." -> what the id map has of it
    made: int = 0

    async def climb(self) -> Verdict:
        """Write everything, each thing after what it names; safe to begin again wherever it broke off."""
        given = entries(self.line.post.body)
        await self._prepare(given)
        for wave in waves(given):
            await self.write(wave)
        return Verdict(verdict.DELIVERED, f"{len(given)} entries written in parts, {self.made} of them new there")

    @abstractmethod
    async def write(self, wave: Sequence[Entry]) -> None:
        """Write entries that name nothing that is not there yet."""

    async def _prepare(self, given: Sequence[Entry]) -> None:
        ours = {entry.sought for entry in given}
        self.known = await self.line.desk.counterparts(self.line.post, sorted(ours | recalled(given)))
        self.names |= self.known  # what an earlier post brought there is named as it is called
        for target in sorted({n for entry in given for n in entry.needs if is_conditional(n)}):
            self.names[target] = (await self.line.the_one(target)).name

    async def settle(self, entry: Entry, there: There) -> None:
        """Keep what the entry is called there, at once: the next attempt begins where this one breaks off."""
        self.names[entry.url] = there.name
        if self.known.get(entry.sought) != there.name:
            self.known[entry.sought] = there.name
            await self.line.desk.learn(self.line.post, {entry.sought: there.name})

    def body(self, entry: Entry, *, id_: str = "") -> bytes:
        """The resource as it is sent, with the destination's own id where it is put under one."""
        made = resolved(entry.resource, self.names)
        return exact.encode({**made, "id": id_} if id_ else made)

    async def tell(self, method: str, path: str, *, body: bytes, headers: Mapping[str, str] | None = None) -> Answer:
        """Send one entry; its answer whatever it is, but for what a repeat can mend."""
        answer = await self.line.ask(method, path, body=body, headers=headers)
        self.made += answer.status == 201
        return answer

    async def accepted(self, entry: Entry, answer: Answer) -> There:
        """What the entry is called after a successful write, asked for where the answer does not say; Halt else."""
        if 200 <= answer.status < 300:
            return found.written(answer, entry.type) or await self.line.the_one(entry.sought)
        if answer.status in (409, 412):
            return await self._looked_up(entry, answer)
        ruling = verdict.judge(answer, sent=b"")
        raise self.line.halt(ruling.state, f"{label(entry)} {ruling.reason}")

    async def _looked_up(self, entry: Entry, answer: Answer) -> There:
        """After 409 or 412: it may be there all the same; if not, the words say what is."""
        refusal, there = answer, await self.line.seek(entry.sought)
        self.line.last = refusal
        if len(there) > 1:
            words = f"{label(entry)} answered {answer.status}: {len(there)} resources there bear its identifier"
            raise self.line.halt(verdict.DEAD, words)
        if there and (entry.once or found.same(resolved(entry.resource, self.names), there[0].resource)):
            return there[0]
        state = verdict.WAITING if answer.status == 409 or there else verdict.DEAD
        words = "is there, but not as sent" if there else "is not there"
        raise self.line.halt(state, f"{label(entry)} answered {answer.status} and {words}")


def label(entry: Entry) -> str:
    """An entry in words."""
    return f"entry[{entry.number}] ({entry.type})"
