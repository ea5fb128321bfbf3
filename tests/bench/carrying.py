"""The courier on a full outbox against a loop that only posts the same bytes over one kept connection.

And ten thousand posts to fifty destinations, of which one hangs, against the same without the one that hangs."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from statistics import median
from time import perf_counter

import httpx

from service import worker
from service.basics.ids import new_id
from service.basics.stored import Post
from service.store import SqlBooks, open_books
from tests.bench.measuring import Line, rate
from tests.bench.receiver import ENTRIES
from tests.bench.servers import free_port, running

SLUG = "hill-practice"
POSTS = 150
RESOURCE = {"resourceType": "Observation", "status": "final", "code": {"text": "x" * 900}}
ENTRY = {"resource": RESOURCE, "request": {"method": "PUT", "url": "Observation?identifier=a|b"}}
BODY = json.dumps({"resourceType": "Bundle", "type": "transaction", "entry": [ENTRY] * ENTRIES}).encode()
SMALL = json.dumps({"resourceType": "Bundle", "type": "transaction", "entry": [{}] * ENTRIES}).encode()
DESTINATIONS, LIMIT = 50, 0.7


def lines(engine: str, url: str, *, rounds: int) -> list[Line]:
    """The part of the bare loop's rate that the courier reaches."""
    with _receiver() as address:
        books = open_books(url)
        books.add_organization(SLUG, "Hill Practice (invented)")
        books.add_destination(SLUG, "records", url=address)
        pairs = [(_carried(books), _bare(address)) for _ in range(rounds + 1)][1:]
        books.close()
    ours, bare = median(o for o, _ in pairs), median(b for _, b in pairs)
    what = f"courier, posts of {len(BODY) // 1000} kB / bare httpx loop"
    return [rate(what, engine, (ours, bare), least=LIMIT if engine == "sqlite" else None)]


def fairness(engine: str, url: str, *, posts: int) -> list[Line]:
    """The rate of deliveries to the living with a hanging destination among them / without it."""
    with _receiver() as address, _hanging() as dead:
        books = open_books(url)
        books.add_organization(SLUG, "Hill Practice (invented)")
        for n in range(DESTINATIONS):
            books.add_destination(SLUG, f"d{n}", url=dead if n == 0 else address)
        _spread(books, posts // 10, first=1)
        _until(books, posts // 10 - posts // 10 // DESTINATIONS)  # warm
        _spread(books, posts, first=0)
        with_it = _until(books, posts - posts // DESTINATIONS)
        books.switch_destination(SLUG, "d0", active=False, why="measured")
        _spread(books, posts, first=1)
        without = _until(books, posts - posts // DESTINATIONS)
        books.close()
    what = f"{posts:,} posts to {DESTINATIONS} destinations, one hanging / without it"
    return [rate(what, engine, (with_it, without), least=0.9)]


def _spread(books: SqlBooks, count: int, *, first: int) -> None:
    """So many posts over all destinations but those before `first`, whose share is left out."""
    for start in range(0, count, 1_000):
        with books.begin(SLUG) as work:
            mine = (n for n in range(start, min(start + 1_000, count)) if n % DESTINATIONS >= first)
            work.post([Post(i := new_id(), f"d{n % DESTINATIONS}", i, i, "finished", SMALL) for n in mine])


def _until(books: SqlBooks, count: int) -> float:
    """Deliveries a second until so many are done."""
    stop, done, ended = threading.Event(), [0], [0.0]

    class Counted:
        """The outbox, counting what it settles as delivered."""

        def __getattr__(self, name: str) -> object:
            return getattr(books, name)

        def settle_many(self, some: list[tuple[object, object]], **more: object) -> object:
            done[0] += sum(getattr(settlement, "state", "") == "delivered" for _, settlement in some)
            if done[0] >= count - 2 * DESTINATIONS and not stop.is_set():
                ended[0] = perf_counter()  # what hangs then is given seconds to end, which are not counted
                stop.set()
            return books.settle_many(some, **more)  # type: ignore[arg-type]

    began = perf_counter()
    worker.run(Counted(), stop=stop, timeout=5)  # type: ignore[arg-type]
    return done[0] / (ended[0] - began)


@contextmanager
def _receiver() -> Iterator[str]:
    port = free_port()
    with running(["-m", "tests.bench.receiver", str(port)], port=port):
        yield f"http://127.0.0.1:{port}/fhir"


@contextmanager
def _hanging() -> Iterator[str]:
    """One that takes connections and never says anything."""
    port = free_port()
    with running(["-m", "tests.bench.receiver", str(port), "hang"], port=port):
        yield f"http://127.0.0.1:{port}/fhir"


def _carried(books: SqlBooks) -> float:
    ids = [new_id() for _ in range(POSTS)]
    with books.begin(SLUG) as work:
        work.post([Post(i, "records", i, f"exam-{n % 100}", "finished", BODY) for n, i in enumerate(ids)])
    began = perf_counter()
    tally = worker.run(books, stop=threading.Event(), until_idle=True)
    took = perf_counter() - began
    assert tally.delivered == POSTS, tally
    return POSTS / took


def _bare(address: str) -> float:
    with httpx.Client(trust_env=False) as client:
        client.post(address, content=BODY)
        began = perf_counter()
        for _ in range(POSTS):
            client.post(address, content=BODY).raise_for_status()
        return POSTS / (perf_counter() - began)
