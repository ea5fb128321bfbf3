"""Clocks that jump and couriers that sleep: nothing is lost, and no live courier loses its posts."""

import asyncio
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta

import httpx
import pytest
import respx

from service import worker
from service.courier.clock import Watch
from service.courier.lines import Lines
from service.courier.round import LEASE_SECONDS
from service.store import SqlBooks, open_books
from tests.courier.carrying import PERFORMED, URL, Wire, answering, carry
from tests.courier.test_outbox import SLUG, later, promise, states
from tests.courier.twin import Clock

HOUR, DAY = timedelta(hours=1), timedelta(days=1)


@dataclass
class Steady:
    """A clock that nobody sets, told by the test."""

    seconds: float = 1_000.0

    def __call__(self) -> float:
        return self.seconds


@pytest.fixture
def outbox(engine: str, database_url: Callable[[str], str]) -> Iterator[SqlBooks]:
    books = open_books(database_url(engine))
    books.add_organization(SLUG, "Hill Practice (invented)")
    books.add_destination(SLUG, "records", url=URL)
    yield books
    books.close()


@pytest.mark.parametrize("jump", [2 * DAY, -HOUR, timedelta(seconds=6), timedelta(seconds=-6)])
def test_a_clock_that_was_set_is_noticed_and_trusted_again_after_the_time_of_a_lease(jump: timedelta) -> None:
    clock, steady = later(), Steady()
    watch = Watch(clock, steady, LEASE_SECONDS)
    assert (watch.moved(), watch.trusted()) == (True, True), "the first look"
    clock.pass_(timedelta(seconds=60))
    steady.seconds += 60
    assert (watch.moved(), watch.trusted()) == (False, True), "time went by"
    clock.pass_(jump)
    assert (watch.moved(), watch.trusted()) == (True, False)
    steady.seconds += LEASE_SECONDS - 1
    clock.pass_(timedelta(seconds=LEASE_SECONDS - 1))
    assert (watch.moved(), watch.trusted()) == (False, False)
    steady.seconds += 1
    assert watch.trusted()


@pytest.mark.sqlite_first
@pytest.mark.parametrize("jump", [2 * DAY, -HOUR])
def test_no_post_is_taken_from_a_live_courier_when_the_clock_jumps_under_both(
    outbox: SqlBooks, jump: timedelta
) -> None:
    """Both couriers see the jump; one is in the middle of a send, and every post is sent once."""
    promise(outbox, *(f"exam-{n}" for n in range(6)))
    clock, sent, stop = later(), list[str](), threading.Event()

    async def answer(request: httpx.Request) -> httpx.Response:
        sent.append(request.headers["Idempotency-Key"])
        if len(sent) == 6:
            clock.pass_(jump)
        await asyncio.sleep(1.0)  # looks for more go on meanwhile, four a second
        return PERFORMED

    router = respx.MockRouter()
    router.post(URL).mock(side_effect=answer)

    def run(name: str) -> None:
        lines = Lines(transport=Wire(router), total_seconds=5)
        worker.run(outbox, stop=stop, lines=lines, now=clock, draw=lambda n: 0, worker=name)

    couriers = [threading.Thread(target=run, args=(name,)) for name in ("one", "two")]
    for courier in couriers:
        courier.start()
    threading.Timer(2.2, stop.set).start()
    for courier in couriers:
        courier.join()
    assert sorted(sent) == sorted(set(sent))
    assert set(states(outbox).values()) == {"delivered"}


def test_what_waited_by_a_clock_that_was_days_ahead_does_not_wait_for_days(outbox: SqlBooks) -> None:
    (post,) = promise(outbox, "exam-1")
    clock = later()
    clock.pass_(2 * DAY)
    carry(outbox, clock=clock, router=answering(httpx.Response(503)))
    clock.pass_(-2 * DAY)
    assert carry(outbox, clock=clock, router=answering(PERFORMED)).delivered == 1
    assert states(outbox) == {post: "delivered"}


def test_what_waits_for_as_long_as_it_may_goes_on_waiting(outbox: SqlBooks) -> None:
    promise(outbox, "exam-1")
    clock = later()
    carry(outbox, clock=clock, router=answering(httpx.Response(503, headers={"Retry-After": "86400"})))
    assert carry(outbox, clock=clock, router=answering(PERFORMED)).delivered == 0
    clock.pass_(DAY)
    assert carry(outbox, clock=clock, router=answering(PERFORMED)).delivered == 1


def test_a_lease_of_a_clock_that_was_ahead_ends_within_a_quarter_of_an_hour(outbox: SqlBooks) -> None:
    promise(outbox, "exam-1")
    clock = Clock(later()() + 2 * DAY)
    outbox.lease("died", limit=9, seconds=LEASE_SECONDS, now=clock())
    clock.pass_(-2 * DAY)
    assert carry(outbox, clock=clock, router=answering(PERFORMED)).delivered == 0
    clock.pass_(timedelta(minutes=15))
    assert carry(outbox, clock=clock, router=answering(PERFORMED)).delivered == 1


def test_without_a_jump_what_a_dead_courier_held_is_taken_over_when_its_lease_ends(outbox: SqlBooks) -> None:
    promise(outbox, "exam-1")
    clock = later()
    outbox.lease("died", limit=9, seconds=LEASE_SECONDS, now=clock())
    clock.pass_(timedelta(seconds=LEASE_SECONDS))
    assert carry(outbox, clock=clock, router=answering(PERFORMED)).delivered == 1


def test_one_that_starts_after_the_clock_was_set_takes_nothing_from_a_live_courier_either(outbox: SqlBooks) -> None:
    promise(outbox, "exam-1")
    clock, steady = later(), Steady()
    (held,) = outbox.lease("alive", limit=9, seconds=LEASE_SECONDS, now=clock())
    clock.pass_(2 * DAY)
    assert run_once(outbox, clock, steady) == 0
    assert outbox.extend(held, seconds=LEASE_SECONDS, now=clock()), "it is still its own"


def test_what_a_courier_held_that_died_days_ago_is_taken_over_after_the_time_of_a_lease(outbox: SqlBooks) -> None:
    promise(outbox, "exam-1")
    began, steady, stop = later()() + 2 * DAY, Steady(0.0), threading.Event()
    outbox.lease("died", limit=9, seconds=LEASE_SECONDS, now=began - 2 * DAY)
    lines = Lines(transport=Wire(answering(PERFORMED)), total_seconds=5)
    how = {"stop": stop, "lines": lines, "steady": steady, "pause": 0.1, "worker": "new"}
    how["now"] = lambda: began + timedelta(seconds=steady.seconds)
    new = threading.Thread(target=worker.run, args=(outbox,), kwargs=how)
    new.start()
    time.sleep(0.5)
    assert set(states(outbox).values()) == {"waiting"}
    steady.seconds += LEASE_SECONDS
    until = time.monotonic() + 20
    while set(states(outbox).values()) != {"delivered"} and time.monotonic() < until:
        time.sleep(0.05)
    stop.set()
    new.join()
    assert set(states(outbox).values()) == {"delivered"}


def run_once(outbox: SqlBooks, clock: Clock, steady: Steady) -> int:
    """What one courier delivers until it finds nothing to do."""
    lines = Lines(transport=Wire(answering(PERFORMED)), total_seconds=5)
    tally = worker.run(
        outbox, stop=threading.Event(), until_idle=True, lines=lines, now=clock, steady=steady, worker="new"
    )
    return tally.delivered
