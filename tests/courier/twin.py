"""A twin of the outbox in memory: posts, leases and attempts as the store keeps them, with a clock that tests move."""

import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

from service.courier.ports import Leased, Settlement

START = datetime(2026, 11, 25, 13, 4, 29, tzinfo=UTC)
BUNDLE = (
    b'{"resourceType":"Bundle","type":"transaction","entry":['
    b'{"resource":{"resourceType":"Basic","code":{"text":"a"}},"request":{"method":"POST","url":"Basic"}},'
    b'{"resource":{"resourceType":"Basic","code":{"text":"b"}},"request":{"method":"POST","url":"Basic"}}]}'
)


@dataclass
class Clock:
    """The time as a test says it is."""

    moment: datetime = START

    def __call__(self) -> datetime:
        return self.moment

    def pass_(self, wait: timedelta) -> None:
        self.moment += wait


@dataclass(frozen=True)
class TwinPost:
    """A post and, while leased, its lease."""

    id: str = "0001"
    organization: str = "hill-practice"
    destination: str = "records"
    url: str = "http://records.test/fhir"
    authorization: str = "Bearer plainly-invented"
    key: str = "exam-1.finished.1"
    thread: str = "exam-1"
    event: str = "finished"
    form: str = "transaction"
    settings: str = ""
    body: bytes = BUNDLE
    tries: int = 0
    token: str = ""
    until: datetime = START
    state: str = "waiting"
    due: datetime = START


@dataclass
class Twin:
    """The outbox in memory, with the promises of service.courier.ports.Outbox."""

    posts: dict[str, TwinPost]
    attempts: list[tuple[str, Settlement]] = field(default_factory=list)
    disabled: set[str] = field(default_factory=set)
    names: dict[tuple[str, str], str] = field(default_factory=dict)
    latches: dict[tuple[str, str], tuple[str, datetime]] = field(default_factory=dict)
    leases: int = 0
    per_destination: int = 8
    lock: threading.Lock = field(default_factory=threading.Lock)

    @classmethod
    def of(cls, *posts: TwinPost) -> "Twin":
        return cls({post.id: post for post in posts})

    def clock_set(self, *, now: datetime) -> int:
        late = {id_: post for id_, post in self.posts.items() if post.due > now + timedelta(hours=30)}
        self.posts |= {id_: replace(post, due=now) for id_, post in late.items()}
        return len(late)

    def stale(self, *, now: datetime) -> bool:
        return any(post.token and post.until < now - timedelta(minutes=15) for post in self.posts.values())

    def lease(
        self, worker: str, *, limit: int, seconds: int, now: datetime, takeover: bool = True
    ) -> tuple[Leased, ...]:
        taken: list[TwinPost] = []
        with self.lock:
            for post in sorted(self.posts.values(), key=lambda each: each.id):
                if post.token and not takeover:
                    continue
                if len(taken) < limit and self._free(post, now) and self._out(post, now) < self.per_destination:
                    self.leases += 1
                    until = now + timedelta(seconds=seconds)
                    self.posts[post.id] = replace(post, token=f"{worker}/{self.leases}", until=until)
                    taken.append(self.posts[post.id])
        return tuple(taken)

    def settle(self, leased: Leased, settlement: Settlement, *, now: datetime) -> bool:
        with self.lock:
            post = self.posts[leased.id]
            if post.token != leased.token:
                return False
            self.attempts.append((post.id, settlement))
            self.posts[post.id] = replace(
                post, state=settlement.state, due=settlement.due or now, tries=post.tries + 1, token="", until=START
            )
            if settlement.disable:
                self.disabled.add(post.destination)
            return True

    def settle_many(self, done: Sequence[tuple[Leased, Settlement]], *, now: datetime) -> list[bool]:
        return [self.settle(leased, settlement, now=now) for leased, settlement in done]

    def extend(self, leased: Leased, *, seconds: int, now: datetime) -> bool:
        with self.lock:
            ours = self.posts[leased.id].token == leased.token
            if ours:
                self.posts[leased.id] = replace(self.posts[leased.id], until=now + timedelta(seconds=seconds))
            return ours

    def counterparts(self, post: Leased, ours: Iterable[str]) -> dict[str, str]:
        return {one: self.names[post.destination, one] for one in ours if (post.destination, one) in self.names}

    def learn(self, post: Leased, names: Mapping[str, str]) -> None:
        self.names |= {(post.destination, ours): theirs for ours, theirs in names.items()}
        self.names = {key: theirs for key, theirs in self.names.items() if theirs}

    def latch(self, post: Leased, name: str, *, until: datetime, now: datetime) -> bool:
        holder, ends = self.latches.get((post.destination, name), ("", now))
        if holder not in ("", post.token) and ends > now:
            return False
        self.latches[post.destination, name] = (post.token, until)
        return True

    def unlatch(self, post: Leased, name: str) -> None:
        if self.latches.get((post.destination, name), ("",))[0] == post.token:
            del self.latches[post.destination, name]

    def release(self, leased: Leased) -> None:
        with self.lock:
            if self.posts[leased.id].token == leased.token:
                self.posts[leased.id] = replace(self.posts[leased.id], token="", until=START)

    def _free(self, post: TwinPost, now: datetime) -> bool:
        earlier = (
            other
            for other in self.posts.values()
            if (other.destination, other.thread) == (post.destination, post.thread) and other.id < post.id
        )
        return (
            post.state == "waiting"
            and post.due <= now
            and (not post.token or post.until <= now)
            and post.destination not in self.disabled
            and all(other.state in ("delivered", "skipped") for other in earlier)
        )

    def _out(self, post: TwinPost, now: datetime) -> int:
        return sum(
            1
            for other in self.posts.values()
            if other.destination == post.destination and other.token and other.until > now
        )
