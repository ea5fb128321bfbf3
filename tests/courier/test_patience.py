"""How long a post waits between attempts, and when it is given up."""

from datetime import timedelta
from email.utils import format_datetime

import httpx
import pytest

from service.courier.patience import DELAYS, asked_pause, pause
from tests.courier.carrying import PERFORMED, answering, carry, until_settled
from tests.courier.twin import START, Clock, Twin, TwinPost

DOWN = httpx.Response(503)


@pytest.mark.parametrize("chance", [0, 100, 200])
def test_a_destination_that_stays_down_is_tried_for_75_hours_within_20_percent_of_the_table(chance: int) -> None:
    outbox, clock = Twin.of(TwinPost()), Clock()
    pauses = until_settled(outbox, clock=clock, router=answering(DOWN), draw=lambda n: chance)
    assert len(outbox.attempts) == len(DELAYS) + 1
    assert sum(pauses, timedelta()) >= timedelta(hours=75)
    for waited, declared in zip(pauses, DELAYS, strict=True):
        assert timedelta(seconds=declared) <= waited <= timedelta(seconds=declared) * 12 / 10
    assert outbox.posts["0001"].state == "dead"
    assert outbox.attempts[-1][1].reason == "given up after 12 attempts; the last one: answered 503"


def test_the_table_is_the_declared_one() -> None:
    # after the example schedule of Standard Webhooks 1.0 ("Deliverability and reliability"), which spans 75.6 hours
    assert [str(timedelta(seconds=each)) for each in DELAYS] == [
        "0:00:05", "0:00:30", "0:02:00", "0:05:00", "0:30:00", "2:00:00", "5:00:00", "10:00:00", "14:00:00",
        "20:00:00", "1 day, 0:00:00",
    ]  # fmt: skip


def test_a_destination_that_comes_back_gets_the_post_and_the_attempts_stay_on_record() -> None:
    outbox, clock = Twin.of(TwinPost()), Clock()
    until_settled(outbox, clock=clock, router=answering(DOWN, httpx.ReadError("reset"), PERFORMED), draw=lambda n: 0)
    assert [each.state for _, each in outbox.attempts] == ["waiting", "waiting", "delivered"]
    assert [each.status for _, each in outbox.attempts] == [503, None, 200]


def test_every_attempt_has_the_same_key_and_bytes_and_an_own_request_id() -> None:
    router = answering(DOWN, DOWN, PERFORMED)
    until_settled(Twin.of(TwinPost()), clock=Clock(), router=router, draw=lambda n: 0)
    sent = [call.request for call in router.calls]
    assert {each.headers["Idempotency-Key"] for each in sent} == {"exam-1.finished.1"}
    assert len({each.content for each in sent}) == 1
    assert [each.headers["X-Request-Id"] for each in sent] == ["0001.1", "0001.2", "0001.3"]


@pytest.mark.parametrize(
    ("header", "seconds"),
    [
        ("120", 120),
        ("0", 5),
        ("1", 5),
        ("-1", 5),
        ("soon", 5),
        ("", 5),
        ("1.5", 5),
        ("١٢٠", 5),
        ("1000000000", 86_400),
        ("9" * 400, 86_400),
        (format_datetime(START + timedelta(minutes=10), usegmt=True), 600),
        (format_datetime(START + timedelta(days=400), usegmt=True), 86_400),
        (format_datetime(START - timedelta(minutes=10), usegmt=True), 5),
        ("Wed, 25 Nov 2026 13:14:29 -0000", 600),
        ("Wed, 99 Nov 2026 13:14:29 GMT", 5),
    ],
)
def test_retry_after_is_honoured_up_to_a_day_and_never_shortens_the_pause(header: str, seconds: int) -> None:
    wait = pause(1, draw=lambda n: 0, asked=asked_pause(header, now=START))
    assert wait == timedelta(seconds=seconds)


def test_retry_after_reaches_the_post() -> None:
    outbox = Twin.of(TwinPost())
    carry(outbox, router=answering(httpx.Response(429, headers={"Retry-After": "77"})))
    assert outbox.posts["0001"].due == START + timedelta(seconds=77)
