"""One post's way to its destination, as often as it has to be asked or told something, while its lease lasts."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from service.courier import found, verdict
from service.courier.answer import Answer, NoAnswer
from service.courier.desk import Desk
from service.courier.found import There
from service.courier.lines import Call, Lines
from service.courier.patience import Now
from service.courier.ports import Leased
from service.courier.verdict import Verdict

SPARE = 2  # sends that must fit into what is left of the lease, else it is extended
MOST = 5  # matches that are asked for: more than one is one too many already


class Halt(Exception):
    """The post can't go on: what follows for it, and the answer that says so."""

    def __init__(self, ruling: Verdict, answer: Answer | NoAnswer) -> None:
        super().__init__(ruling.reason)
        self.ruling, self.answer = ruling, answer


class Lost(Exception):
    """The lease is another courier's by now; nothing more may be sent."""


@dataclass(slots=True)
class Line:
    """Asks and tells the destination of one post; every answer that isn't what was hoped for ends in Halt."""

    lines: Lines
    post: Leased
    desk: Desk
    now: Now
    until: datetime
    last: Answer | NoAnswer = field(default_factory=lambda: NoAnswer("nothing was sent"))
    calls: int = 0

    async def ask(
        self, method: str, path: str = "", *, body: bytes = b"", headers: Mapping[str, str] | None = None
    ) -> Answer:
        """One exchange; Halt when nothing came back, or what a repeat can mend."""
        await self._hold()
        self.calls += 1
        call = Call(method, path, body, headers or {})
        self.last = await self.lines.send(self.post, call, request=self._name())
        if isinstance(self.last, NoAnswer) or verdict.passing(self.last.status):
            raise Halt(verdict.judge(self.last, sent=b""), self.last)
        return self.last

    async def seek(self, sought: str) -> list[There]:
        """The resources there that bear an identifier; Halt when the search can't be believed."""
        answer = await self.ask("GET", f"{sought}&_count={MOST}")
        if answer.status == 404:
            return []
        if not 200 <= answer.status < 300:
            raise self.halt(verdict.DEAD, f"the search {_type(sought)}?identifier was answered {answer.status}")
        there = found.matches(answer, sought)
        if there is None:
            raise self.halt(verdict.DEAD, f"what it finds for {_type(sought)}?identifier is not what was sought")
        return there

    async def the_one(self, sought: str) -> There:
        """The one resource there that bears an identifier; Halt when it is none or several."""
        there = await self.seek(sought)
        if len(there) != 1:
            words = "no" if not there else f"{len(there)} resources of the type"
            raise self.halt(verdict.DEAD, f"the destination has {words} {_type(sought)} for what the post refers to")
        return there[0]

    def halt(self, state: str, reason: str) -> Halt:
        """What to raise when the last answer ends the attempt."""
        retry_after = self.last.retry_after if isinstance(self.last, Answer) else ""
        return Halt(Verdict(state, reason, retry_after), self.last)

    def _name(self) -> str:
        attempt = f"{self.post.id}.{self.post.tries + 1}"
        return attempt if self.calls == 1 else f"{attempt}.{self.calls}"

    async def _hold(self) -> None:
        """Keep the lease for long enough that nobody else begins with this post meanwhile."""
        if self.desk.left(self.until, now=self.now()) > SPARE * self.lines.seconds:
            return
        kept = await self.desk.extend(self.post, now=self.now())
        if kept is None:
            raise Lost
        self.until = kept


def _type(sought: str) -> str:
    return sought.partition("?")[0]
