"""How a courier ends: what is under way is finished or cut off, and nothing stays in its hands."""

import asyncio
import signal
import subprocess
import sys
import threading
from collections.abc import Callable

import httpx
import respx

from service import worker
from service.basics.ids import new_id
from service.basics.stored import Post
from service.courier.lines import AT_ONE_TIME, Lines
from service.courier.round import Courier, Tally
from service.store import open_books
from tests.courier.carrying import PERFORMED, URL, Wire
from tests.courier.receiver import Receiver
from tests.courier.test_rounds import posts
from tests.courier.twin import BUNDLE, START, Clock, Twin


def test_being_told_to_stop_finishes_what_is_under_way_and_takes_nothing_new() -> None:
    stop = threading.Event()

    async def answer(request: httpx.Request) -> httpx.Response:
        stop.set()
        await asyncio.sleep(0.05)
        return PERFORMED

    router = respx.MockRouter()
    router.post(URL).mock(side_effect=answer)
    outbox = Twin.of(*posts(threads=1, each=5))
    worker.run(outbox, stop=stop, lines=Lines(transport=Wire(router)), now=Clock(), worker="a")
    assert [post.state for post in outbox.posts.values()] == ["delivered", *["waiting"] * 4]
    assert all(not post.token for post in outbox.posts.values()), "nothing stays leased"


def test_what_a_shutdown_cuts_off_is_due_again_at_once_and_what_was_never_sent_is_given_back() -> None:
    stop = threading.Event()

    async def hang(request: httpx.Request) -> httpx.Response:
        stop.set()
        await asyncio.sleep(60)
        return PERFORMED

    router = respx.MockRouter()
    router.post(URL).mock(side_effect=hang)
    outbox = Twin.of(*posts(threads=12))
    outbox.per_destination = 12  # more than may be under way at one time
    clock = Clock()
    tally = asyncio.run(cut_off(outbox, clock=clock, router=router, stop=stop))
    assert (tally.waiting, tally.unsent, len(outbox.attempts)) == (AT_ONE_TIME, 12 - AT_ONE_TIME, AT_ONE_TIME)
    assert {settlement.reason for _, settlement in outbox.attempts} == {
        "cut off by a shutdown; whether it arrived is unknown"
    }
    assert all((post.state, post.token, post.due) == ("waiting", "", START) for post in outbox.posts.values())


async def cut_off(outbox: Twin, *, clock: Clock, router: respx.MockRouter, stop: threading.Event) -> Tally:
    async with Lines(transport=Wire(router)) as lines:
        courier = Courier(outbox, lines, "a", clock, lambda n: 0, grace=1)
        return await courier.run(stop.is_set)


ALONE = """
import sys
from service import worker
from service.store import open_books
books = open_books(sys.argv[1])
worker.run(books, stop=worker.stop_on_signals())
books.close()
"""


def test_a_process_that_is_told_to_end_finishes_its_post_and_leaves_the_next(
    database_url: Callable[[str], str],
) -> None:
    database, arrived = database_url("sqlite"), threading.Event()
    books = open_books(database)
    books.add_organization("hill-practice", "Hill Practice (invented)")

    def slowly(connection: object) -> None:
        arrived.set()
        threading.Event().wait(0.5)
        connection.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n")  # type: ignore[attr-defined]

    with Receiver(slowly).open() as url:
        books.add_destination("hill-practice", "records", url=url)
        promised = [Post(new_id(), "records", f"key-{n}", "exam-1", "finished", BUNDLE) for n in range(2)]
        with books.begin("hill-practice") as work:
            work.post(promised)
        process = subprocess.Popen([sys.executable, "-c", ALONE, database])
        assert arrived.wait(30)
        process.send_signal(signal.SIGTERM)
        assert process.wait(15) == 0
    left = {each.id: (each.state, each.leased_until) for each in books.deliveries("hill-practice")}
    books.close()
    assert left == {promised[0].id: ("delivered", ""), promised[1].id: ("waiting", "")}
