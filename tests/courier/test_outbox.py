"""The courier over the real outbox, on both engines: what is promised is sent, and what happened stays on record."""

import asyncio
import threading
from collections.abc import Callable, Iterator
from datetime import timedelta

import httpx
import pytest
import respx

from service.basics.ids import new_id
from service.basics.stored import Post
from service.courier.lines import Lines
from service.courier.ports import Settlement
from service.courier.round import Courier
from service.store import SqlBooks, open_books
from service.store.outbox import PER_DESTINATION
from tests.courier.carrying import PERFORMED, URL, Wire, answering, carry
from tests.courier.twin import BUNDLE, START, Clock

SLUG = "hill-practice"


@pytest.fixture
def outbox(engine: str, database_url: Callable[[str], str]) -> Iterator[SqlBooks]:
    """Books with a practice and one destination; the clock of the tests is far ahead of the posts' own."""
    books = open_books(database_url(engine))
    books.add_organization(SLUG, "Hill Practice (invented)")
    books.add_destination(SLUG, "records", url=URL, authorization="Bearer plainly-invented")
    yield books
    books.close()


def promise(books: SqlBooks, *threads: str, destination: str = "records") -> list[str]:
    """One post for each exam named, in this order; their ids."""
    posts = [Post(new_id(), destination, f"{t}:{n}", t, "finished", BUNDLE) for n, t in enumerate(threads)]
    with books.begin(SLUG) as work:
        work.post(posts)
    return [post.id for post in posts]


def later() -> Clock:
    return Clock(START + timedelta(days=36_500))  # later than any time at which these tests are run


def states(books: SqlBooks) -> dict[str, str]:
    return {delivery.id: delivery.state for delivery in books.deliveries(SLUG, limit=500)}


def test_a_post_is_tried_again_and_delivered_and_every_attempt_is_on_record(outbox: SqlBooks) -> None:
    (post,) = promise(outbox, "exam-1")
    clock, router = later(), answering(httpx.Response(503, text="closed"), httpx.ReadError("reset"), PERFORMED)
    for wait in (0, 5, 30):
        clock.pass_(timedelta(seconds=wait))
        carry(outbox, clock=clock, router=router)
        carry(outbox, clock=clock, router=router)  # before it is due again: nothing
    attempts = outbox.attempts(SLUG, post)
    assert [(a.outcome, a.status) for a in attempts] == [("waiting", 503), ("waiting", None), ("delivered", 200)]
    assert [a.answer for a in attempts][:2] == ["closed", ""]
    assert {a.by for a in attempts} == {"courier-a"}
    assert [call.request.headers["Idempotency-Key"] for call in router.calls] == ["exam-1:0"] * 3
    assert {call.request.content for call in router.calls} == {BUNDLE} == {outbox.post_body(SLUG, post)}


def test_a_dead_letter_is_listed_kept_and_can_be_replayed_by_someone_named(outbox: SqlBooks) -> None:
    (post,) = promise(outbox, "exam-1")
    router, clock = answering(httpx.Response(422, text="no such animal"), PERFORMED), later()
    carry(outbox, clock=clock, router=router)
    assert [d.id for d in outbox.deliveries(SLUG, state="dead")] == [post]
    outbox.replay(SLUG, post, by="R. Operator", now=clock())
    carry(outbox, clock=clock, router=router)
    happened = [(a.outcome, a.by, a.answer) for a in outbox.attempts(SLUG, post)]
    assert happened[:2] == [("dead", "courier-a", "no such animal"), ("replayed", "R. Operator", "")]
    assert (happened[2][0], states(outbox)) == ("delivered", {post: "delivered"})


def test_after_the_whole_schedule_the_post_is_dead_and_a_replay_starts_a_new_one(outbox: SqlBooks) -> None:
    (post,) = promise(outbox, "exam-1")
    clock, router = later(), answering(httpx.ConnectError("refused"))
    begun = clock()
    while states(outbox)[post] == "waiting":
        carry(outbox, clock=clock, router=router)
        clock.pass_(timedelta(hours=1))
    assert clock() - begun >= timedelta(hours=75)
    assert len(outbox.attempts(SLUG, post)) == 12
    outbox.replay(SLUG, post, by="R. Operator", now=clock())
    carry(outbox, clock=clock, router=router)
    assert states(outbox)[post] == "waiting", "twelve more attempts, not one"


def test_a_destination_that_is_gone_is_off_until_it_is_enabled_again(outbox: SqlBooks) -> None:
    gone, waiting = promise(outbox, "exam-1", "exam-1")
    router, clock = answering(httpx.Response(410), PERFORMED), later()
    carry(outbox, clock=clock, router=router)
    (row,) = outbox.destinations(SLUG)
    assert (row.active, "410" in row.disabled) == (False, True)
    outbox.skip(SLUG, gone, by="R. Operator")
    assert carry(outbox, clock=clock, router=router).delivered == 0
    outbox.switch_destination(SLUG, "records", active=True)
    assert carry(outbox, clock=clock, router=router).delivered == 1
    assert states(outbox) == {gone: "skipped", waiting: "delivered"}


def test_a_late_settlement_changes_nothing(outbox: SqlBooks) -> None:
    (post,) = promise(outbox, "exam-1")
    clock = later()
    (sleeper,) = outbox.lease("zombie", limit=9, seconds=90, now=clock())
    assert carry(outbox, clock=clock, router=answering(PERFORMED)).delivered == 0, "it is leased"
    clock.pass_(timedelta(seconds=91))
    assert carry(outbox, clock=clock, router=answering(PERFORMED)).delivered == 1
    before = (states(outbox), outbox.attempts(SLUG, post))
    late = Settlement(state="dead", started=clock(), milliseconds=1, status=410, reason="late", disable=True)
    assert outbox.settle(sleeper, late, now=clock()) is False
    assert (states(outbox), outbox.attempts(SLUG, post)) == before
    assert outbox.destinations(SLUG)[0].active


def test_four_couriers_send_every_post_once_and_each_exam_in_order(outbox: SqlBooks) -> None:
    promise(outbox, *(f"exam-{n % 10}" for n in range(60)))
    out: set[str] = set()

    async def answer(request: httpx.Request) -> httpx.Response:
        key = request.headers["Idempotency-Key"]
        assert key not in out
        out.add(key)
        await asyncio.sleep(0.002)
        out.remove(key)
        return PERFORMED

    router, clock = respx.MockRouter(), later()
    router.post(URL).mock(side_effect=answer)
    couriers = [
        threading.Thread(target=carry, args=(outbox,), kwargs={"router": router, "clock": clock}) for _ in range(4)
    ]
    for courier in couriers:
        courier.start()
    for courier in couriers:
        courier.join()
    carry(outbox, clock=clock, router=router)  # what became free after the last look of the others
    sent = [call.request.headers["Idempotency-Key"] for call in router.calls]
    assert sorted(sent) == sorted(f"exam-{n % 10}:{n}" for n in range(60))
    for exam in {key.split(":")[0] for key in sent}:
        numbers = [int(key.split(":")[1]) for key in sent if key.split(":")[0] == exam]
        assert numbers == sorted(numbers)


def test_of_several_settled_at_once_only_those_still_held_are(outbox: SqlBooks) -> None:
    ids = promise(outbox, "exam-1", "exam-2", "exam-3")
    clock = later()
    held = outbox.lease("a", limit=9, seconds=90, now=clock())
    lost = next(post for post in held if post.id == ids[1])
    outbox.release(lost)
    done = Settlement(state="delivered", started=clock(), milliseconds=1, status=200, reason="")
    assert outbox.settle_many([(post, done) for post in held], now=clock()) == [post != lost for post in held]
    assert states(outbox) == {ids[0]: "delivered", ids[1]: "waiting", ids[2]: "delivered"}
    assert [len(outbox.attempts(SLUG, id_)) for id_ in ids] == [1, 0, 1]


def test_posts_of_one_destination_fill_nobodys_hands(outbox: SqlBooks) -> None:
    promise(outbox, *(f"exam-{n}" for n in range(40)))
    clock = later()
    assert [len(outbox.lease(courier, limit=64, seconds=90, now=clock())) for courier in "ab"] == [PER_DESTINATION, 0]
    clock.pass_(timedelta(seconds=91))
    assert len(outbox.lease("b", limit=64, seconds=90, now=clock())) == PER_DESTINATION, "those leases ran out"


@pytest.mark.sqlite_first
def test_a_hanging_destination_does_not_stop_the_others(outbox: SqlBooks) -> None:
    outbox.add_destination(SLUG, "dead", url="http://dead.test/fhir")
    promise(outbox, *(f"a-{n}" for n in range(100)), destination="dead")
    promise(outbox, *(f"b-{n}" for n in range(100)))
    stop, alive_at_first_cut = threading.Event(), []

    async def answer(request: httpx.Request) -> httpx.Response:
        if request.url.host != "dead.test":
            return PERFORMED
        try:
            await asyncio.sleep(60)
        finally:
            if not alive_at_first_cut:
                alive_at_first_cut.append(sum(call.request.url.host != "dead.test" for call in router.calls))
                stop.set()
        return PERFORMED

    router = respx.MockRouter()
    router.post(path="/fhir").mock(side_effect=answer)

    async def run() -> None:
        async with Lines(transport=Wire(router), total_seconds=4) as lines:
            await Courier(outbox, lines, "a", later(), lambda n: 0, grace=0).run(stop.is_set)

    asyncio.run(run())
    assert alive_at_first_cut == [100], "all of the living before the first of the dead was given up"
