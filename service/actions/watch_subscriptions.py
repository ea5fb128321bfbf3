"""What became of subscriptions, into their resources: active, in error, over; and signs of life while all is still."""

import threading
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from service.actions import tracing
from service.actions.ports import Caller, House, Work
from service.actions.writing import decoded, write
from service.basics.errors import Refusal
from service.basics.ids import new_id
from service.basics.stored import Post
from service.basics.subscription import HEARTBEAT, NOTICE, Subscription
from service.fhir import exact
from service.fhir.writing.notification import notification

PAUSE = 1.0  # seconds between two looks: who asked for a subscription waits for its first state
KEPT = timedelta(days=30)  # how long $events can tell what happened
_HOUR = 3600.0
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_CLOCK = "clock"  # who looks, in the audit


def look(house: House, organization: str, *, now: datetime | None = None) -> int:
    """Bring the Subscriptions of an organisation up to date; how many were due. Any number may look at once."""
    when = _micros(now or datetime.now(UTC))
    with house.books.view(organization) as view:
        due = view.subscriptions_due(when)
    for one in due:
        with house.books.begin(organization) as work:
            bring_up(work, one.id)
    return len(due)


def forget(house: House, organization: str, *, now: datetime | None = None) -> None:
    """Drop the events that are older than KEPT."""
    before = _micros((now or datetime.now(UTC)) - KEPT)
    with house.books.begin(organization) as work:
        work.forget_happenings(before)


def watch(house: House, organizations: Callable[[], Iterable[str]], *, stop: threading.Event, pause: float) -> None:
    """Look in all organisations, again and again until told to stop; a busy store is asked again next time."""
    since = _HOUR
    while not stop.wait(min(pause, PAUSE)):
        since += min(pause, PAUSE)
        with suppress(Refusal):
            for organization in organizations():
                look(house, organization)
                if since >= _HOUR:
                    forget(house, organization)
            since = 0.0 if since >= _HOUR else since


def bring_up(work: Work, id_: str) -> None:
    """Write into the resource how a subscription stands, end it, or give a sign of life, whatever is due."""
    one = work.hold_subscription(id_)
    stored = work.get("Subscription", id_)
    if one is None or stored is None or stored.deleted:
        return
    now = _micros(work.now)
    if one.until_us and one.until_us <= now and one.state != "off":
        one = replace(one, state="off", error="")
        work.stop_aiming(one)
    if one.state != one.stated:
        resource = {**decoded(stored), "status": one.state}
        resource = resource | {"error": one.error} if one.error else {k: v for k, v in resource.items() if k != "error"}
        work.save_subscription(replace(one, stated=one.state))
        write(work, [], [(resource, stored)])
        work.trace(tracing.changed(work, Caller(work.organization, "practice", (), _CLOCK), f"Subscription/{id_}"))
    elif one.state == "active" and one.heartbeat and one.told_us + one.heartbeat * 1_000_000 <= now:
        _beat(work, one)


def _beat(work: Work, one: Subscription) -> None:
    told = work.claim_heartbeat(one)
    if told is None:
        return
    id_ = new_id()
    bundle = notification(told, HEARTBEAT, id_=id_, at=exact.instant(work.now))
    key = f"{one.id}:{HEARTBEAT}:{told.told_us}"
    work.post([Post(id_, one.destination, key, one.destination, HEARTBEAT, exact.encode(bundle), NOTICE)])


def _micros(when: datetime) -> int:
    return (when - _EPOCH) // timedelta(microseconds=1)
