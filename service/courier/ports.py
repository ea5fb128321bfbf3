"""What the courier needs of the outbox, as Protocols; the store honours them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol


class Leased(Protocol):
    """A post that is ours until `until`: what to send, where, and how often it was tried before."""

    @property
    def organization(self) -> str: ...
    @property
    def destination(self) -> str: ...  # name
    @property
    def url(self) -> str: ...  # the record system's FHIR base
    @property
    def authorization(self) -> str: ...  # value of the Authorization header, "" for none
    @property
    def id(self) -> str: ...
    @property
    def token(self) -> str: ...  # of the lease; a settlement under another one changes nothing
    @property
    def until(self) -> datetime: ...
    @property
    def key(self) -> str: ...
    @property
    def thread(self) -> str: ...
    @property
    def event(self) -> str: ...
    @property
    def form(self) -> str: ...  # how the body is carried: one of basics.destination.FORMS
    @property
    def settings(self) -> str: ...  # of the destination, JSON text or ""
    @property
    def body(self) -> bytes: ...
    @property
    def tries(self) -> int: ...  # finished attempts since the post was made or last replayed


@dataclass(frozen=True, slots=True)
class Settlement:
    """What became of one attempt, and what follows for the post.

    state: delivered, waiting (again at `due`) or dead; status is HTTP's, None when no answer came;
    answer is the shortened text that came back; disable: the destination said it is gone for good."""

    state: str
    started: datetime
    milliseconds: int
    status: int | None
    reason: str
    answer: str = ""
    due: datetime | None = None
    disable: bool = False


class Counterparts(Protocol):
    """What destinations call resources of ours, and latches: one courier at a time searches and then writes."""

    def counterparts(self, post: Leased, ours: Iterable[str]) -> dict[str, str]: ...
    def learn(self, post: Leased, names: Mapping[str, str]) -> None: ...
    def latch(self, post: Leased, name: str, *, until: datetime, now: datetime) -> bool: ...
    def unlatch(self, post: Leased, name: str) -> None: ...
    def extend(self, leased: Leased, *, seconds: int, now: datetime) -> bool:
        """Hold a lease for longer; False when it is no longer ours."""


class Outbox(Counterparts, Protocol):
    """The posts, shared by every courier. Each call is one short transaction."""

    def lease(self, worker: str, *, limit: int, seconds: int, now: datetime, takeover: bool = True) -> Sequence[Leased]:
        """Take up to `limit` posts that are due, for `seconds`; never one whose thread has an earlier post unfinished.

        takeover: also those whose lease has run out.
        Only a bounded number of posts of one destination is out at a time, over all couriers: a hanging destination
        with ten thousand posts due must not fill every courier's hands."""

    def clock_set(self, *, now: datetime) -> int:
        """After a clock was set back: let nothing wait, or be held, for longer than it ever could."""

    def stale(self, *, now: datetime) -> bool:
        """Whether a lease ended so long ago, by this clock, that the clock may be what is wrong."""

    def settle(self, leased: Leased, settlement: Settlement, *, now: datetime) -> bool:
        """Record the attempt and move the post; False, with nothing changed, when the lease is no longer ours."""

    def settle_many(self, done: Sequence[tuple[Leased, Settlement]], *, now: datetime) -> Sequence[bool]:
        """Settle several in one transaction, all or none; for each whether its lease was still ours."""

    def release(self, leased: Leased) -> None:
        """Give back a post that was never sent; nothing happens when the lease is no longer ours."""
