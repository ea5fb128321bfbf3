"""The courier on a full outbox against a loop that only posts the same bytes over one kept connection."""

import json
import threading
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


def lines(engine: str, url: str, *, rounds: int) -> list[Line]:
    """The part of the bare loop's rate that the courier reaches."""
    port = free_port()
    with running(["-m", "tests.bench.receiver", str(port)], port=port):
        address, books = f"http://127.0.0.1:{port}/fhir", open_books(url)
        books.add_organization(SLUG, "Hill Practice (invented)")
        books.add_destination(SLUG, "records", url=address)
        pairs = [(_carried(books), _bare(address)) for _ in range(rounds + 1)][1:]
        books.close()
    ours, bare = median(o for o, _ in pairs), median(b for _, b in pairs)
    return [rate(f"courier, posts of {len(BODY) // 1000} kB / bare httpx loop", engine, (ours, bare))]


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
