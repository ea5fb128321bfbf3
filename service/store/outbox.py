"""Posts, turned into leased work for couriers and back into settled states."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import product
from typing import NamedTuple

from service.basics import destination
from service.store.counterparts import Counterparts
from service.store.deliveries import ATTEMPT
from service.store.instants import instant, micros
from service.store.leasing import Held, Leased, Settlement
from service.store.session import Row, Session
from service.store.told import follow

PER_DESTINATION = 16
"""Posts of one destination that are out at a time, over all couriers: a hanging one must not fill all hands."""

FARTHEST, LONGEST_LEASE = timedelta(hours=30), timedelta(minutes=15)  # more than any pause, and any lease, can be

# A post waits for every earlier one of its thread that is not delivered, or dead and skipped by a person. As a
# smallest number, for that can be read off one index alone: NOT EXISTS made PostgreSQL walk all that wait, for each.
_FREE = (
    " AND p.destination = ? AND p.state = 'waiting' AND p.due_us <= ? AND p.lease_us <= ?"
    " AND p.row = (SELECT min(e.row) FROM post e WHERE e.organization = p.organization"
    " AND e.destination = p.destination AND e.thread = p.thread AND e.state IN ('waiting', 'dead'))"
)
_EARLIEST = (
    "SELECT d.organization, d.name, d.url, d.secret, d.settings, (SELECT min(p.due_us) FROM post p WHERE"
    " p.organization = d.organization AND p.destination = d.name AND p.state = 'waiting')"
    " FROM destination d WHERE d.active"
)
_OUT = "SELECT organization, destination, count(*) FROM post WHERE lease <> '' AND lease_us > ? GROUP BY 1, 2"
_ANY = f"SELECT 1 FROM post p WHERE p.organization = ?{_FREE} LIMIT 1"
_TAKE = (
    "SELECT p.id, p.key, p.thread, p.event, p.form, b.body, p.tries FROM post p JOIN post_body b"
    f" ON b.organization = p.organization AND b.id = p.id WHERE p.organization = ?{_FREE}"
    " ORDER BY p.due_us, p.row LIMIT ?"
)
_SKIP_TAKEN = " FOR UPDATE OF p SKIP LOCKED"
_LEASE = "UPDATE post SET lease = ?, lease_us = ? WHERE organization = ? AND id = ?"
_SETTLE = (
    "UPDATE post SET state = ?, due_us = ?, tries = tries + 1, lease = '', lease_us = 0"
    " WHERE organization = ? AND id = ? AND lease = ?"
)
_SETTLE_ALL = (
    "UPDATE post AS p SET state = v.state, due_us = v.due_us, tries = p.tries + 1, lease = '', lease_us = 0"
    " FROM (VALUES"
)
_SETTLED_ONES = (
    ") AS v (state, due_us, organization, id, lease) WHERE p.organization = v.organization AND p.id = v.id"
    " AND p.lease = v.lease RETURNING p.organization, p.id"
)
_SOONER = "UPDATE post SET due_us = ? WHERE state = 'waiting' AND due_us > ?"
_SHORTER = "UPDATE post SET lease_us = ? WHERE lease <> '' AND lease_us > ?"
_LONG_ENDED = "SELECT 1 FROM post WHERE lease <> '' AND lease_us < ? LIMIT 1"
_SETTLED = frozenset({"delivered", "waiting", "dead"})


@dataclass(slots=True)
class _Line:
    """A destination with posts that can go out, and how many more of them may."""

    organization: str
    name: str
    url: str
    authorization: str = field(repr=False)
    settings: str
    room: int


class Outbox(Counterparts):
    """The posts, shared by every courier. Each call is one short transaction."""

    def lease(self, worker: str, *, limit: int, seconds: int, now: datetime, takeover: bool = True) -> list[Leased]:
        """Take up to `limit` posts that are due, fairly over destinations and in order within each thread.

        No more than PER_DESTINATION of one destination are out at a time. takeover: also those whose lease has run
        out, by a clock that can be trusted just now."""
        at = _Moment(micros(now), micros(now) if takeover else 0)
        with self._pool.reading() as session:  # an idle courier never takes the writer's lock
            lines = _lines(session, at)
        if not lines:
            return []
        until = now + timedelta(seconds=seconds)
        taken: list[Leased] = []
        shares = (max(1, limit // len(lines)), limit)  # first the same for each, then whoever has more
        with self._pool.writing() as session:
            for share, line in product(shares, lines):
                wanted = min(share, limit - len(taken), line.room)
                rows = _take(session, line, wanted, at=at) if wanted > 0 else []
                line.room = line.room - len(rows) if len(rows) == wanted else 0
                part = [_leased(line, row, worker, until=until) for row in rows]
                session.many(_LEASE, ((p.token, micros(until), p.organization, p.id) for p in part))
                taken += part
        return taken

    def clock_set(self, *, now: datetime) -> int:
        """After a clock was set back: nothing waits, or is held, for longer than it ever could; how many posts did."""
        due, held = micros(now + FARTHEST), micros(now + LONGEST_LEASE)
        with self._pool.writing() as session:
            moved = session.run(_SOONER, micros(now), due)
            return moved + session.run(_SHORTER, held, held)

    def stale(self, *, now: datetime) -> bool:
        """Whether a lease ended so long ago, by this clock, that the clock may be what is wrong."""
        with self._pool.reading() as session:
            return session.one(_LONG_ENDED, micros(now - LONGEST_LEASE)) is not None

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
        return self.settle_many([(leased, settlement)], now=now)[0]

    def settle_many(self, done: Sequence[tuple[Held, Settlement]], *, now: datetime) -> list[bool]:
        """Settle several at once: one commit for all of them, and for each whether its lease was still ours."""
        for _, settlement in done:
            if settlement.state not in _SETTLED:
                raise ValueError(f"a post is settled as one of {', '.join(sorted(_SETTLED))}")
        if not done:
            return []
        with self._pool.writing() as session:
            moved = (_moved_at_once if session.postgres else _moved_in_turn)(session, done, now=now)
            ours = [pair for pair, still in zip(done, moved, strict=True) if still]
            session.many(ATTEMPT, (_attempt(leased, settlement) for leased, settlement in ours))
            for leased, settlement in ours:
                follow(session, leased, settlement, now=now)
        return moved


class _Moment(NamedTuple):
    """The time in microseconds: posts due by `due`, and those whose lease ended by `held`, can be taken."""

    due: int
    held: int


def _lines(session: Session, at: _Moment) -> list[_Line]:
    """The destinations that have a post to go out and room for it, who has waited longest first."""
    known = session.rows(_EARLIEST)
    due = sorted((row for row in known if row[5] is not None and row[5] <= at.due), key=lambda row: int(row[5]))
    out = {(organization, name): count for organization, name, count in session.rows(_OUT, at.due)} if due else {}
    lines = [_Line(o, n, url, key, terms, PER_DESTINATION - out.get((o, n), 0)) for o, n, url, key, terms, _ in due]
    return [one for one in lines if one.room > 0 and session.one(_ANY, one.organization, one.name, *at)]


def _take(session: Session, line: _Line, count: int, *, at: _Moment) -> list[Row]:
    sql = _TAKE + _SKIP_TAKEN if session.postgres else _TAKE
    return session.rows(sql, line.organization, line.name, *at, count)


def _leased(line: _Line, row: Row, worker: str, *, until: datetime) -> Leased:
    id_, key, thread, event, form, body, tries = row
    where = (line.organization, line.name, line.url, line.authorization)
    way, token = destination.way(form, line.settings), f"{uuid.uuid4()}/{worker}"
    return Leased(*where, id_, key, thread, event, way, body, tries, token, until, line.settings)


def _moved_in_turn(session: Session, done: Sequence[tuple[Held, Settlement]], *, now: datetime) -> list[bool]:
    return [
        session.run(_SETTLE, s.state, micros(s.due or now), held.organization, held.id, held.token) == 1
        for held, s in done
    ]


def _moved_at_once(session: Session, done: Sequence[tuple[Held, Settlement]], *, now: datetime) -> list[bool]:
    """One trip to the server, where one for each post took most of the time."""
    values = [(s.state, micros(s.due or now), held.organization, held.id, held.token) for held, s in done]
    lines = ", ".join(["(?::text, ?::bigint, ?::text, ?::text, ?::text)"] * len(values))
    moved = {(row[0], row[1]) for row in session.rows(f"{_SETTLE_ALL} {lines}{_SETTLED_ONES}", *sum(values, ()))}
    return [(held.organization, held.id) in moved for held, _ in done]


def _attempt(leased: Held, s: Settlement) -> tuple[object, ...]:
    worker = leased.token.partition("/")[2]
    what = (instant(s.started), s.state, s.milliseconds, s.status, s.reason, s.answer.replace("\0", "\ufffd"), worker)
    return (leased.organization, leased.id, *what)
