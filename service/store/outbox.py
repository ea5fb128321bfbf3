"""Posts, turned into leased work for couriers and back into settled states."""

import uuid
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import product
from typing import Protocol

from service.store.deliveries import ATTEMPT, Deliveries
from service.store.instants import instant, micros
from service.store.session import Row, Session

# a post waits for every earlier one of its thread that is not delivered, or dead and skipped by a person
_FREE = (
    " FROM post p JOIN destination d ON d.organization = p.organization AND d.name = p.destination"
    " WHERE p.state = 'waiting' AND p.due_us <= ? AND p.lease_us <= ? AND d.active AND NOT EXISTS (SELECT 1 FROM post e"
    " WHERE e.organization = p.organization AND e.destination = p.destination AND e.thread = p.thread"
    " AND e.row < p.row AND e.state IN ('waiting', 'dead'))"
)
_WAITING_FOR = (
    f"SELECT p.organization, p.destination, min(p.due_us){_FREE} GROUP BY p.organization, p.destination ORDER BY 3"
)
_TAKE = (
    "SELECT p.organization, p.destination, d.url, d.secret, p.id, p.key, p.thread, p.event, p.body, p.tries"
    f"{_FREE} AND p.organization = ? AND p.destination = ? ORDER BY p.due_us, p.row LIMIT ?"
)
_SKIP_TAKEN = " FOR UPDATE OF p SKIP LOCKED"
_LEASE = "UPDATE post SET lease = ?, lease_us = ? WHERE organization = ? AND id = ?"
_SETTLE = (
    "UPDATE post SET state = ?, due_us = ?, tries = tries + 1, lease = '', lease_us = 0"
    " WHERE organization = ? AND id = ? AND lease = ?"
)
_SWITCH_OFF = "UPDATE destination SET active = ?, disabled = ? WHERE organization = ? AND name = ?"
_SETTLED = frozenset({"delivered", "waiting", "dead"})


@dataclass(frozen=True, slots=True)
class Leased:
    """A post that is the holder's until `until`; tries counts finished attempts since it was made or last replayed."""

    organization: str
    destination: str
    url: str
    authorization: str = field(repr=False)
    id: str
    key: str
    thread: str
    event: str
    body: bytes = field(repr=False)
    tries: int
    token: str
    until: datetime


class Held(Protocol):
    """What is needed to settle, extend or release a lease."""

    @property
    def organization(self) -> str: ...
    @property
    def destination(self) -> str: ...
    @property
    def id(self) -> str: ...
    @property
    def token(self) -> str: ...


class Settlement(Protocol):
    """What became of one attempt: state is delivered, waiting (again at `due`) or dead."""

    @property
    def state(self) -> str: ...
    @property
    def started(self) -> datetime: ...
    @property
    def milliseconds(self) -> int: ...
    @property
    def status(self) -> int | None: ...
    @property
    def reason(self) -> str: ...
    @property
    def answer(self) -> str: ...
    @property
    def due(self) -> datetime | None: ...
    @property
    def disable(self) -> bool: ...


class Outbox(Deliveries):
    """The posts, shared by every courier. Each call is one short transaction."""

    def lease(self, worker: str, *, limit: int, seconds: int, now: datetime) -> list[Leased]:
        """Take up to `limit` posts that are due, fairly over destinations and in order within each thread."""
        at = micros(now)
        with self._pool.reading() as session:  # an idle courier never takes the writer's lock
            waiting = session.rows(_WAITING_FOR, at, at)
        if not waiting:
            return []
        until = now + timedelta(seconds=seconds)
        taken: list[Leased] = []
        shares = (max(1, limit // len(waiting)), limit)  # first the same for each, then whoever has more
        with self._pool.writing() as session:
            for share, (organization, destination, _) in product(shares, waiting):
                wanted = min(share, limit - len(taken))
                rows = session.rows(_take(session), at, at, organization, destination, wanted) if wanted else []
                part = [_leased(row, worker, until=until) for row in rows]
                session.many(_LEASE, ((p.token, micros(until), p.organization, p.id) for p in part))
                taken += part
        return taken

    def extend(self, leased: Held, *, seconds: int, now: datetime) -> bool:
        """Hold a lease for longer; False when it is no longer ours."""
        sql = "UPDATE post SET lease_us = ? WHERE organization = ? AND id = ? AND lease = ?"
        until = micros(now) + seconds * 1_000_000
        with self._pool.writing() as session:
            return session.run(sql, until, leased.organization, leased.id, leased.token) == 1

    def release(self, leased: Held) -> None:
        """Give back a post that was never sent."""
        sql = "UPDATE post SET lease = '', lease_us = 0 WHERE organization = ? AND id = ? AND lease = ?"
        with self._pool.writing() as session:
            session.run(sql, leased.organization, leased.id, leased.token)

    def settle(self, leased: Held, settlement: Settlement, *, now: datetime) -> bool:
        """Record the attempt and move the post; False, with nothing changed, when the lease is no longer ours."""
        if settlement.state not in _SETTLED:
            raise ValueError(f"a post is settled as one of {', '.join(sorted(_SETTLED))}")
        due = micros(settlement.due or now)
        with self._pool.writing() as session:
            place = (leased.organization, leased.id, leased.token)
            if session.run(_SETTLE, settlement.state, due, *place) != 1:
                return False
            _record(session, leased, settlement)
            if settlement.disable:
                session.run(_SWITCH_OFF, False, settlement.reason, leased.organization, leased.destination)
        return True


def _take(session: Session) -> str:
    return _TAKE + _SKIP_TAKEN if session.postgres else _TAKE


def _leased(row: Row, worker: str, *, until: datetime) -> Leased:
    organization, destination, url, secret, id_, key, thread, event, body, tries = row
    token = f"{uuid.uuid4()}/{worker}"
    return Leased(organization, destination, url, secret, id_, key, thread, event, body, tries, token, until)


def _record(session: Session, leased: Held, settlement: Settlement) -> None:
    s = settlement
    worker = leased.token.partition("/")[2]
    what = (instant(s.started), s.state, s.milliseconds, s.status, s.reason, s.answer.replace("\0", "\ufffd"), worker)
    session.run(ATTEMPT, leased.organization, leased.id, *what)
