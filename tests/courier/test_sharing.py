"""Couriers that share a record system without conditions: what one writes no other writes at the same time."""

import asyncio
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import httpx
import pytest

from service import worker
from service.basics.destination import Terms, written
from service.basics.stored import Post
from service.courier.lines import Lines
from service.courier.round import LEASE_SECONDS
from service.fhir import exact, uris
from service.fhir.writing.delivery import bundle
from service.store import open_books
from tests.courier.records import Records
from tests.courier.test_ladder import carry, records, told
from tests.courier.test_outbox import later
from tests.courier.twin import START, Clock, Twin, TwinPost
from tests.whole.foreign_exam import LIVER, PATIENT, finished


def test_two_couriers_never_search_and_write_the_same_thing_at_the_same_time() -> None:
    there = records(conditional=False)
    outbox = Twin.of(TwinPost(form="search", body=finished()))
    held = f"Observation?identifier={uris.ID}|{LIVER}"
    other = replace(outbox.posts["0001"], token="other")
    assert outbox.latch(other, held, until=START + timedelta(seconds=60), now=START)
    carry(there, "search", outbox=outbox)
    assert (told(outbox).state, there.all("Observation")) == ("waiting", [])
    assert "another courier" in told(outbox).reason
    clock = Clock(START + timedelta(seconds=61))
    carry(there, "search", outbox=outbox, clock=clock)
    assert told(outbox).state == "delivered"
    assert outbox.latches == {}


def test_a_courier_whose_lease_went_to_another_on_the_way_sends_nothing_more() -> None:
    there, clock = records(conditional=False), Clock()
    outbox = Twin.of(TwinPost(form="search", body=finished()))

    def slow(request: httpx.Request) -> None:
        if request.method == "POST" and len(there.all("Observation")) == 0:
            clock.pass_(timedelta(seconds=LEASE_SECONDS + 1))  # it slept; by now another one has the post
            outbox.lease("other", limit=9, seconds=LEASE_SECONDS, now=clock())

    there.before = slow  # type: ignore[assignment]
    carry(there, "search", outbox=outbox, clock=clock)
    told_there = [target for method, target in there.asked if method != "GET"]
    assert told_there == ["Observation"]
    assert outbox.attempts == [], "what became of it is the other one's to say"
    assert outbox.posts["0001"].token.startswith("other")


def test_a_long_way_down_the_ladder_keeps_its_lease() -> None:
    there, clock = records(conditional=False), Clock()
    outbox = Twin.of(TwinPost(form="search", body=finished()))

    def slow(request: httpx.Request) -> None:
        clock.pass_(timedelta(seconds=25))
        assert outbox.lease("other", limit=9, seconds=LEASE_SECONDS, now=clock()) == ()

    there.before = slow  # type: ignore[assignment]
    carry(there, "search", outbox=outbox, clock=clock)
    assert len(there.asked) * 25 > 2 * LEASE_SECONDS
    assert told(outbox).state == "delivered"


@pytest.mark.sqlite_first
@pytest.mark.parametrize("rung", ["single", "search"])
def test_what_many_exams_name_is_there_once_though_two_couriers_bring_it_at_once(
    engine: str, database_url: Callable[[str], str], rung: str
) -> None:
    """The record system takes its time between a search and a write, and has no condition to hold them together."""
    there = records(conditional=rung == "single")
    books = open_books(database_url(engine))
    books.add_organization("hill", "Hill Practice (invented)")
    terms = written(Terms(forms=(rung,), form=rung))
    books.add_destination("hill", "records", url="http://records.test/fhir", settings=terms)
    with books.begin("hill") as work:
        work.post([Post(f"p{n}", "records", f"k{n}", f"exam-{n}", "finished", with_practice(n)) for n in range(10)])
    clock = later()

    def run(name: str) -> None:
        for _ in range(12):
            lines = Lines(transport=Unhurried(there))
            worker.run(books, stop=threading.Event(), until_idle=True, lines=lines, now=clock, draw=lambda n: 0)
            clock.pass_(timedelta(seconds=1))

    couriers = [threading.Thread(target=run, args=(name,)) for name in ("one", "two")]
    for courier in couriers:
        courier.start()
    for courier in couriers:
        courier.join()
    assert {d.state for d in books.deliveries("hill")} == {"delivered"}
    assert (len(there.all("Organization")), len(there.all("Observation"))) == (1, 10)
    books.close()


class Unhurried(httpx.AsyncBaseTransport):
    """Lets others go first before each answer."""

    def __init__(self, there: Records) -> None:
        self.there = there

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        await asyncio.sleep(0.001)
        answer = await self.there.handle_async_request(request)
        await asyncio.sleep(0.003)
        return answer


def with_practice(number: int) -> bytes:
    """A finding of an exam of its own, by a practice that all of them name."""
    practice = {"resourceType": "Organization", "id": "0" * 8, "name": "Hill Practice (invented)"}
    seen = {
        "resourceType": "Observation",
        "id": f"019abcde-0000-7000-8000-{number:012}",
        "status": "final",
        "code": {"text": "a finding"},
        "performer": [{"reference": f"Organization/{practice['id']}"}],
        "subject": {"reference": f"Patient/{PATIENT['id']}"},
    }
    return exact.encode(bundle([practice, seen], theirs=[PATIENT], now=START, identifier=f"exam-{number}:finished:1"))
