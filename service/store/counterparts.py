"""What resources of ours are called at destinations, and which of them a courier is writing there just now."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Protocol

from service.store.deliveries import Deliveries
from service.store.instants import micros

_KNOWN = "SELECT ours, theirs FROM counterpart WHERE organization = ? AND destination = ? AND ours IN"
_LEARN = (
    "INSERT INTO counterpart (organization, destination, ours, theirs) VALUES (?, ?, ?, ?)"
    " ON CONFLICT (organization, destination, ours) DO UPDATE SET theirs = excluded.theirs"
)
_FORGET = "DELETE FROM counterpart WHERE organization = ? AND destination = ? AND ours = ?"
# One who holds a latch may take it again; another one gets it when it was given back or has run out.
_LATCH = (
    "INSERT INTO latch (organization, destination, name, holder, until_us) VALUES (?, ?, ?, ?, ?)"
    " ON CONFLICT (organization, destination, name) DO UPDATE SET holder = excluded.holder,"
    " until_us = excluded.until_us WHERE latch.holder = excluded.holder OR latch.until_us <= ?"
)
_OPEN = "DELETE FROM latch WHERE organization = ? AND destination = ? AND name = ? AND holder = ?"


class Bound(Protocol):
    """Whose post it is, where it goes, and the lease that tells couriers apart."""

    @property
    def organization(self) -> str: ...
    @property
    def destination(self) -> str: ...
    @property
    def token(self) -> str: ...


class Counterparts(Deliveries):
    """The map of ids of each destination, and its latches."""

    def counterparts(self, post: Bound, ours: Iterable[str]) -> dict[str, str]:
        """Those of ours that the destination is known to have -> what it calls them ("Type/id")."""
        wanted = list(dict.fromkeys(ours))
        found: dict[str, str] = {}
        with self._pool.reading() as session:
            for start in range(0, len(wanted), 500):
                part = wanted[start : start + 500]
                sql = f"{_KNOWN} ({', '.join('?' * len(part))})"
                found |= {row[0]: row[1] for row in session.rows(sql, post.organization, post.destination, *part)}
        return found

    def learn(self, post: Bound, names: Mapping[str, str]) -> None:
        """Keep what the destination calls resources of ours; "" forgets one that is there no more."""
        place = (post.organization, post.destination)
        with self._pool.writing() as session:
            session.many(_LEARN, ((*place, ours, theirs) for ours, theirs in sorted(names.items()) if theirs))
            session.many(_FORGET, ((*place, ours) for ours, theirs in names.items() if not theirs))

    def latch(self, post: Bound, name: str, *, until: datetime, now: datetime) -> bool:
        """Take the right to search for and write one thing at the destination; False while another courier has it."""
        values = (post.organization, post.destination, name, post.token, micros(until), micros(now))
        with self._pool.writing() as session:
            return session.run(_LATCH, *values) == 1

    def unlatch(self, post: Bound, name: str) -> None:
        """Give it back; nothing happens when it is no longer ours."""
        with self._pool.writing() as session:
            session.run(_OPEN, post.organization, post.destination, name, post.token)
