"""A word from a destination about a post, into the post's state."""

from datetime import datetime

from service.store.deliveries import ATTEMPT
from service.store.instants import instant
from service.store.mine import Mine

_FIND = "SELECT id, state FROM post WHERE organization = ? AND destination = ? AND key = ?"
_TAKEN = "UPDATE post SET state = 'delivered', lease = '', lease_us = 0 WHERE organization = ? AND id = ?"


class Acknowledging(Mine):
    """What a unit of work does to posts that were acknowledged from outside."""

    now: datetime

    def acknowledge(self, destination: str, key: str, *, by: str) -> str:
        """Let a post that waits or was given up count as delivered; its state before, "" when there is none."""
        found = self._mine(_FIND + self._session.hold, destination, key)
        if not found:
            return ""
        id_, state = found[0]
        if state != "delivered":
            self._session.run(_TAKEN, self.organization, id_)
            line = (
                self.organization,
                id_,
                instant(self.now),
                "delivered",
                0,
                None,
                "acknowledged by a webhook",
                "",
                by,
            )
            self._session.run(ATTEMPT, *line)
        return str(state)
