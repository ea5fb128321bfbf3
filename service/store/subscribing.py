"""Subscriptions and their events, written within an open unit of work."""

from collections.abc import Callable, Iterable
from dataclasses import astuple, replace
from datetime import datetime

from service.basics.stored import Stored
from service.basics.subscription import Happening, Subscription
from service.store.deliveries import ATTEMPT
from service.store.instants import instant, micros, micros_of
from service.store.session import Session
from service.store.subscribed import COLUMNS, Subscribed

_NAMES = COLUMNS.split(", ")
_ONE = f"SELECT {COLUMNS} FROM subscription WHERE organization = ? AND id = ?"
_SAVE = (
    f"INSERT INTO subscription (organization, {COLUMNS}) VALUES ({', '.join('?' * (len(_NAMES) + 1))})"
    " ON CONFLICT (organization, id) DO UPDATE SET " + ", ".join(f"{name} = excluded.{name}" for name in _NAMES[1:])
)
_AIM = (
    "INSERT INTO destination (organization, name, url, secret, kind, settings, active, disabled)"
    " VALUES (?, ?, ?, ?, 'subscription', ?, ?, '') ON CONFLICT (organization, name) DO UPDATE SET url = excluded.url,"
    " secret = excluded.secret, settings = excluded.settings, active = excluded.active, disabled = ''"
)
_COUNT = (
    "UPDATE subscription SET events = events + ?, told_us = CASE WHEN state = 'active' THEN ? ELSE told_us END"
    " WHERE organization = ? AND id = ? AND state IN ('active', 'error') RETURNING "
) + COLUMNS
_LEFT = "SELECT id FROM post WHERE organization = ? AND destination = ? AND state IN ('waiting', 'dead')"
_PASS = "UPDATE post SET state = 'skipped', lease = '', lease_us = 0 WHERE organization = ? AND id = ?"


class Subscribing(Subscribed):
    """What a unit of work does to subscriptions; `end` runs what was kept for the end, before the commit."""

    def __init__(self, session: Session, organization: str, *, now: datetime) -> None:
        super().__init__(session, organization)
        self.now = now
        self._last: list[Callable[[], None]] = []
        self._watching: tuple[Subscription, ...] | None = None
        self.happened: dict[str, list[Stored]] = {}

    def at_end(self, act: Callable[[], None]) -> None:
        """Have something done when all else is, so that what it locks is locked last."""
        self._last.append(act)

    def end(self) -> None:
        """Do what was kept for the end."""
        while self._last:
            self._last.pop(0)()

    def watchers(self) -> tuple[Subscription, ...]:
        """Those that count events, asked for once in a unit of work."""
        if self._watching is None:
            self._watching = self.watching()
        return self._watching

    def hold_subscription(self, id_: str) -> Subscription | None:
        """One of them, held until the end: nobody counts its events meanwhile."""
        found = self._mine(_ONE + self._session.hold, id_)
        return Subscription(*found[0]) if found else None

    def save_subscription(self, one: Subscription) -> None:
        """Write a subscription's row."""
        self._session.run(_SAVE, self.organization, *astuple(one))
        self._watching = None

    def aim(self, one: Subscription, *, url: str, secret: str, settings: str, active: bool) -> None:
        """Say where its notifications go; what was not delivered before is passed over, and stays on record."""
        self._session.run(_AIM, self.organization, one.destination, url, secret, settings, active)
        for (id_,) in self._mine(_LEFT, one.destination):
            self._session.run(_PASS, self.organization, id_)
            why = "the subscription was asked for anew; $events has what this would have told"
            self._session.run(
                ATTEMPT, self.organization, id_, instant(self.now), "skipped", 0, None, why, "", "service"
            )

    def count_events(self, id_: str, seen: Iterable[tuple[str, int]]) -> tuple[Subscription, list[Happening]] | None:
        """Number the (Type/id, version) that happened, holding the subscription until the end; None when it is off."""
        what = list(seen)
        found = self._mine(_COUNT, len(what), micros(self.now), id_)
        if not found:
            return None
        one, at = Subscription(*found[0]), instant(self.now)
        first = one.events - len(what) + 1
        made = [Happening(number, at, *pair) for number, pair in enumerate(what, first)]
        sql = (
            "INSERT INTO happening (organization, subscription, number, at, focus, version, at_us)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)"
        )
        at_us = micros_of(at)
        lines = [(self.organization, id_, h.number, h.at, h.focus, h.version, at_us) for h in made]
        self._session.many(sql, lines)
        return one, made

    def still_known(self, asker: str) -> bool:
        """Whether a token ("token:<fingerprint>") was not revoked, or a client ("client:<id>") is still active."""
        kind, _, name = asker.partition(":")
        if kind == "client":
            return bool(self._mine("SELECT 1 FROM client WHERE organization = ? AND id = ? AND active", name))
        return bool(self._mine("SELECT 1 FROM token WHERE organization = ? AND hash = ? AND NOT revoked", name))

    def fail_subscription(self, one: Subscription, reason: str) -> None:
        """Put a subscription in error, so that it is told nothing more."""
        sql = "UPDATE subscription SET state = 'error', error = ? WHERE organization = ? AND id = ?"
        self._mine(f"{sql} RETURNING id", reason, one.id)
        self.stop_aiming(replace(one, state="error"))

    def claim_heartbeat(self, one: Subscription) -> Subscription | None:
        """The subscription, told of now; None when somebody else has told it meanwhile."""
        now = micros(self.now)
        sql = (
            "UPDATE subscription SET told_us = ? WHERE organization = ? AND id = ? AND told_us = ? AND state = 'active'"
            " RETURNING id"
        )
        return replace(one, told_us=now) if self._mine(sql, now, one.id, one.told_us) else None

    def stop_aiming(self, one: Subscription) -> None:
        """Send nothing more to a subscription's address."""
        sql = "UPDATE destination SET active = ?, disabled = ? WHERE organization = ? AND name = ?"
        self._session.run(sql, False, f"the subscription is {one.state}", self.organization, one.destination)

    def forget_happenings(self, before_us: int) -> None:
        """Drop the events of subscriptions that are older than an instant."""
        self._session.run("DELETE FROM happening WHERE organization = ? AND at_us < ?", self.organization, before_us)
