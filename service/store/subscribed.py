"""Subscriptions and their events, read as one organisation sees them."""

from dataclasses import fields

from service.basics.subscription import PREFIX, Happening, Subscription
from service.store.mine import Mine

COLUMNS = ", ".join(field.name for field in fields(Subscription))
_ALL = f"SELECT {COLUMNS} FROM subscription WHERE organization = ?"
_EVENTS = "SELECT number, at, focus, version FROM happening WHERE organization = ? AND subscription = ?"
# told anew: the state has changed, has come to its end, or is due to give a sign of life
_DUE = (
    f"{_ALL} AND (state <> stated OR (state IN ('requested', 'active', 'error') AND until_us > 0 AND until_us <= ?)"
    " OR (state = 'active' AND heartbeat > 0 AND told_us + heartbeat * 1000000 <= ?)) ORDER BY id"
)


class Subscribed(Mine):
    """What subscriptions there are and what happened to them."""

    def subscription(self, id_: str) -> Subscription | None:
        """One of them."""
        found = self._mine(f"{_ALL} AND id = ?", id_)
        return Subscription(*found[0]) if found else None

    def subscriptions(self) -> tuple[Subscription, ...]:
        """All of them, the oldest first."""
        return tuple(Subscription(*row) for row in self._mine(f"{_ALL} ORDER BY id"))

    def watching(self) -> tuple[Subscription, ...]:
        """Those that count events: active, or in error."""
        sql = f"{_ALL} AND state IN ('active', 'error') ORDER BY id"
        return tuple(Subscription(*row) for row in self._mine(sql))

    def subscriptions_due(self, now_us: int) -> tuple[Subscription, ...]:
        """Those whose resource must say something else, that end, or that owe a heartbeat."""
        return tuple(Subscription(*row) for row in self._mine(_DUE, now_us, now_us))

    def happenings(self, id_: str, *, first: int, last: int, most: int) -> tuple[Happening, ...]:
        """The events of a subscription from one number to another, at most so many of them."""
        sql = f"{_EVENTS} AND number >= ? AND number <= ? ORDER BY number LIMIT ?"
        return tuple(Happening(*row) for row in self._mine(sql, id_, first, last, most))

    def endpoint(self, id_: str) -> tuple[str, str]:
        """(address, secret headers as JSON text) of a subscription; ("", "") when there is none."""
        found = self._mine("SELECT url, secret FROM destination WHERE organization = ? AND name = ?", PREFIX + id_)
        return (found[0][0], found[0][1]) if found else ("", "")
