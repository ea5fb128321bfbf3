"""What became of a post, into the standing of its destination, in the transaction that settles the post."""

from datetime import datetime

from service.basics.subscription import HANDSHAKE, PREFIX
from service.store.instants import micros
from service.store.leasing import Held, Settlement
from service.store.session import Session

_ACTIVE = (
    "UPDATE subscription SET state = 'active', error = '', told_us = ? WHERE organization = ? AND id = ?"
    " AND state = 'requested'"
)
_WELL = "UPDATE subscription SET error = '' WHERE organization = ? AND id = ? AND state = 'active' AND error <> ''"
_TROUBLED = "UPDATE subscription SET error = ? WHERE organization = ? AND id = ? AND state IN ('requested', 'active')"
_FAILED = (
    "UPDATE subscription SET state = 'error', error = ? WHERE organization = ? AND id = ?"
    " AND state IN ('requested', 'active')"
)
_STOP = "UPDATE destination SET active = ?, disabled = ? WHERE organization = ? AND name = ?"


def follow(session: Session, post: Held, outcome: Settlement, *, now: datetime) -> None:
    """A destination that is gone is switched off; a subscription follows what became of its notification.

    A handshake that was taken makes it active; a post that is given up puts it in error: its events are counted and
    sent no more, until the subscriber asks anew, for he must know what he missed."""
    state, reason = outcome.state, outcome.reason
    if outcome.disable:
        session.run(_STOP, False, reason, post.organization, post.destination)
    if not post.destination.startswith(PREFIX):
        return
    place = (post.organization, post.destination.removeprefix(PREFIX))
    if state == "delivered" and post.event == HANDSHAKE:
        session.run(_ACTIVE, micros(now), *place)
    elif state == "delivered":
        session.run(_WELL, *place)
    elif state == "waiting":
        session.run(_TROUBLED, reason[:500], *place)
    else:
        session.run(_FAILED, reason[:500], *place)
        session.run(_STOP, False, reason[:500], post.organization, post.destination)
