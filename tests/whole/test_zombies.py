"""Couriers that are stopped in the middle of a send for longer than their lease, and wake up."""

import json
import os
import signal
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from service.basics.ids import new_id
from service.basics.stored import Post
from service.store import SqlBooks, open_books
from tests.builders.processes import Process
from tests.courier.carrying import response
from tests.courier.receiver import Receiver
from tests.courier.twin import BUNDLE

pytestmark = pytest.mark.full
LEASE, SLUG = 3, "hill-practice"
ANSWER = json.dumps(response("201", "200")).encode()
HEAD = b"HTTP/1.1 200 OK\r\nContent-Type: application/fhir+json\r\nContent-Length: %d\r\nConnection: close\r\n\r\n"


@dataclass
class Slow:
    """Answers after half a second, and knows how many requests have come."""

    came: int = 0
    arrived: threading.Event = field(default_factory=threading.Event)

    def act(self, connection: socket.socket) -> None:
        self.came += 1
        self.arrived.set()
        time.sleep(0.5)
        connection.sendall(HEAD % len(ANSWER) + ANSWER)


def courier(name: str, url: str, folder: Path) -> Process:
    environ = {"SONOLEDGER_DATABASE_URL": url}
    return Process("tests.whole.brisk_courier", (name, str(LEASE)), log=folder / f"{name}.log", environ=environ)


def wait_for(done: Callable[[], bool], *, within: float = 30) -> None:
    until = time.monotonic() + within
    while not done():
        assert time.monotonic() < until, "not in time"
        time.sleep(0.05)


def promise(books: SqlBooks, *threads: str) -> list[str]:
    posts = [Post(new_id(), "records", f"{t}:{n}", t, "finished", BUNDLE) for n, t in enumerate(threads)]
    with books.begin(SLUG) as work:
        work.post(posts)
    return [post.id for post in posts]


def delivered(books: SqlBooks) -> int:
    return sum(d.state == "delivered" for d in books.deliveries(SLUG, limit=500))


@pytest.mark.parametrize("others", [1, 3])
def test_a_courier_that_slept_through_two_leases_changes_nothing_when_it_wakes(
    engine: str, database_url: Callable[[str], str], tmp_path: Path, others: int
) -> None:
    url, slow = database_url(engine), Slow()
    books = open_books(url)
    books.add_organization(SLUG, "Hill Practice (invented)")
    with Receiver(slow.act).open() as address:
        books.add_destination(SLUG, "records", url=address)
        posts = promise(books, *(f"exam-{n % 6}" for n in range(12)))
        zombie = courier("zombie", url, tmp_path)
        awake = [courier(f"awake-{n}", url, tmp_path) for n in range(others)]
        zombie.start()
        try:
            assert slow.arrived.wait(30)
            assert zombie.running is not None
            os.kill(zombie.running.pid, signal.SIGSTOP)
            for one in awake:
                one.start()
            wait_for(lambda: delivered(books) == len(posts))
            time.sleep(max(0.0, 2 * LEASE - 4.0))
            before = {post: books.attempts(SLUG, post) for post in posts}
            os.kill(zombie.running.pid, signal.SIGCONT)
            wait_for(lambda: "deliver-late" in zombie.told())
        finally:
            for one in (zombie, *awake):
                one.kill()
    assert {post: books.attempts(SLUG, post) for post in posts} == before
    for post in posts:
        (attempt,) = before[post]
        assert (attempt.outcome, attempt.by[:5]) == ("delivered", "awake")
    assert slow.came > len(posts), "what the sleeper had sent was sent again, under the same key"
    books.close()
