"""What several posts, several couriers and a failing outbox do to one another."""

import asyncio
import json
import logging
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta

import httpx
import pytest
import respx

from service import worker
from service.basics.errors import Busy
from service.courier.attempt import attempt
from service.courier.desk import Desk
from service.courier.lines import Lines
from service.courier.ports import Leased, Settlement
from service.courier.round import LEASE_SECONDS
from tests.courier.carrying import PERFORMED, URL, Wire, answering, carry
from tests.courier.twin import START, Clock, Twin, TwinPost


def posts(*, threads: int, each: int = 1, **more: str) -> list[TwinPost]:
    """each posts of every thread, made in turn."""
    return [
        TwinPost(**{"id": f"{n:04}", "key": f"key-{n}", "thread": f"exam-{n % threads}", **more})
        for n in range(threads * each)
    ]


def keys_in_order(router: respx.MockRouter) -> list[str]:
    return [call.request.headers["Idempotency-Key"] for call in router.calls]


def test_a_later_post_of_an_exam_waits_for_the_earlier_one() -> None:
    router = answering(PERFORMED)
    assert carry(Twin.of(*posts(threads=3, each=4)), router=router).delivered == 12
    order = keys_in_order(router)
    for thread in range(3):
        assert [key for key in order if int(key[4:]) % 3 == thread] == [f"key-{n}" for n in range(thread, 12, 3)]


def test_a_poisoned_post_holds_up_its_own_exam_until_a_person_skips_it_and_nobody_else() -> None:
    outbox = Twin.of(*posts(threads=2, each=2))
    router = answering(httpx.Response(422), PERFORMED)
    assert carry(outbox, router=router).dead == 1
    assert [post.state for post in outbox.posts.values()] == ["dead", "delivered", "waiting", "delivered"]
    outbox.posts["0000"] = replace(outbox.posts["0000"], state="skipped")
    carry(outbox, router=router)
    assert outbox.posts["0002"].state == "delivered"


def test_a_waiting_post_holds_up_its_own_exam_only() -> None:
    outbox = Twin.of(*posts(threads=2, each=2))
    router = respx.MockRouter(assert_all_called=False)
    router.post(URL, headers={"Idempotency-Key": "key-0"}).respond(503)
    router.post(URL).mock(return_value=PERFORMED)
    carry(outbox, router=router)
    assert {id_: post.state for id_, post in outbox.posts.items()} == {
        "0000": "waiting", "0001": "delivered", "0002": "waiting", "0003": "delivered",
    }  # fmt: skip
    assert "key-2" not in keys_in_order(router)


def test_a_hanging_destination_is_cut_off_and_slows_no_other() -> None:
    async def answer(request: httpx.Request) -> httpx.Response:
        if request.url.host == "dead.test":
            await asyncio.sleep(30)
        return PERFORMED

    router = respx.MockRouter()
    router.post(path="/fhir").mock(side_effect=answer)
    dead = [
        replace(post, id=f"0{post.id}") for post in posts(threads=40, destination="dead", url="http://dead.test/fhir")
    ]
    outbox = Twin.of(*dead, *(replace(post, id=f"1{post.id}") for post in posts(threads=100)))
    stop = threading.Event()
    settled_alive: list[int] = []

    class Watched(Twin):
        def settle(self, leased: Leased, settlement: Settlement, *, now: object) -> bool:
            done = Twin.settle(self, leased, settlement, now=now)  # type: ignore[arg-type]
            if leased.destination == "dead" and not settled_alive:
                settled_alive.append(sum(post.state == "delivered" for post in self.posts.values()))
                stop.set()
            return done

    watched = Watched(outbox.posts)
    worker.run(watched, stop=stop, lines=Lines(transport=Wire(router), total_seconds=1), now=Clock(), worker="a")
    assert settled_alive == [100], "all of the living before the first of the dead was given up"


def test_an_outbox_that_fails_for_a_moment_loses_nothing() -> None:
    class Shaky(Twin):
        failures = 0

        def settle(self, leased: Leased, settlement: Settlement, *, now: object) -> bool:
            if self.failures < 1:
                self.failures += 1
                raise Busy
            return Twin.settle(self, leased, settlement, now=now)  # type: ignore[arg-type]

    outbox = Shaky(Twin.of(TwinPost()).posts)
    router = answering(PERFORMED)
    stop = threading.Event()
    threading.Timer(0.4, stop.set).start()  # cuts the pause after the failure short; the end settles what is left
    worker.run(outbox, stop=stop, lines=Lines(transport=Wire(router)), now=Clock(), worker="a")
    assert (outbox.posts["0001"].state, len(router.calls), len(outbox.attempts)) == ("delivered", 1, 1)


def _stop_when(stop: threading.Event, done: Callable[[], bool]) -> None:
    end = time.monotonic() + 30
    while time.monotonic() < end and not done():
        time.sleep(0.02)
    stop.set()


def _delivered(outbox: Twin) -> int:
    return sum(post.state == "delivered" for post in list(outbox.posts.values()))


@pytest.mark.full
def test_one_that_cannot_be_settled_holds_up_no_other() -> None:
    class Refusing(Twin):
        def settle(self, leased: Leased, settlement: Settlement, *, now: object) -> bool:
            if leased.id == "0002":
                raise ValueError("this one, always")
            return Twin.settle(self, leased, settlement, now=now)  # type: ignore[arg-type]

        def settle_many(self, done: Sequence[tuple[Leased, Settlement]], *, now: object) -> list[bool]:
            before = (dict(self.posts), list(self.attempts))
            try:
                return Twin.settle_many(self, done, now=now)  # type: ignore[arg-type]
            except ValueError:
                self.posts, self.attempts = before  # all or none, as in a transaction
                raise

    outbox = Refusing(Twin.of(*posts(threads=5)).posts)
    stop = threading.Event()
    watch = threading.Thread(target=_stop_when, args=(stop, lambda: _delivered(outbox) == 4))
    watch.start()
    worker.run(outbox, stop=stop, lines=Lines(transport=Wire(answering(PERFORMED))), now=Clock(), worker="a")
    states = {id_: post.state for id_, post in outbox.posts.items()}
    assert states.pop("0002") == "waiting"
    assert set(states.values()) == {"delivered"}


def test_what_a_sleeping_courier_settles_late_changes_nothing() -> None:
    outbox, clock = Twin.of(TwinPost()), Clock()
    (sleepers,) = outbox.lease("zombie", limit=9, seconds=LEASE_SECONDS, now=clock())
    clock.pass_(timedelta(seconds=LEASE_SECONDS))
    carry(outbox, clock=clock, router=answering(PERFORMED))
    before = (dict(outbox.posts), list(outbox.attempts))
    late = Settlement(state="dead", started=START, milliseconds=1, status=500, reason="late")
    assert outbox.settle(sleepers, late, now=clock()) is False
    assert (outbox.posts, outbox.attempts) == before


def test_a_courier_that_wakes_after_its_lease_sends_nothing() -> None:
    outbox, clock = Twin.of(TwinPost()), Clock()
    (post,) = outbox.lease("zombie", limit=9, seconds=LEASE_SECONDS, now=clock())
    clock.pass_(timedelta(seconds=LEASE_SECONDS - 4))  # a send may take 5 s: too long for what is left
    router = answering(PERFORMED)

    async def wake() -> Settlement | None:
        async with Lines(transport=Wire(router), total_seconds=5) as lines:
            return await attempt(post, lines=lines, desk=Desk(outbox, 90), now=clock, draw=lambda n: 0)

    assert asyncio.run(wake()) is None
    assert len(router.calls) == 0


def test_two_couriers_never_send_the_same_post_at_the_same_time() -> None:
    out: set[str] = set()

    async def answer(request: httpx.Request) -> httpx.Response:
        key = request.headers["Idempotency-Key"]
        assert key not in out
        out.add(key)
        await asyncio.sleep(0.001)
        out.remove(key)
        return PERFORMED

    router = respx.MockRouter()
    router.post(URL).mock(side_effect=answer)
    outbox = Twin.of(*posts(threads=50, each=4))
    couriers = [threading.Thread(target=carry, args=(outbox,), kwargs={"router": router}) for _ in range(4)]
    for courier in couriers:
        courier.start()
    for courier in couriers:
        courier.join()
    carry(outbox, router=router)  # what became free after the last look of the others
    assert sorted(keys_in_order(router)) == sorted(post.key for post in outbox.posts.values())


def test_the_log_has_ids_and_states_and_no_secret_or_content(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    carry(Twin.of(TwinPost()), router=answering(httpx.Response(422, text="Rex has no owner")))
    (record,) = [each for each in caplog.records if each.name != "asyncio"]
    facts = json.loads(record.getMessage())
    assert record.levelname == "WARNING"
    assert (facts["action"], facts["post"], facts["state"], facts["status"]) == ("deliver", "0001", "dead", 422)
    for secret in ("plainly-invented", "Rex", "Basic", URL):
        assert secret not in record.getMessage()
