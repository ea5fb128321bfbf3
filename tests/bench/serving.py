"""GET and POST of Observations over HTTP against bare FastAPI routes under the same server; memory of the service."""

import pickle
import subprocess
import sys
from collections.abc import Sequence
from itertools import chain
from pathlib import Path
from statistics import median

import httpx

from service.commands import token
from service.fhir import exact
from tests.bench import exam
from tests.bench.floor import settle
from tests.bench.house import SLUG, Practice
from tests.bench.measuring import Line, rate
from tests.bench.servers import free_port, running, service

READ, WROTE = {"sqlite": 0.4}, {"sqlite": 0.5}  # the parts to reach
CONNECTIONS = 8
MEGABYTES = 160
GETS, POSTS = 400, 60  # of a block: many short turns, so that a disturbance hits both sides alike


def lines(engine: str, url: str, *, folder: Path, rounds: int) -> list[Line]:
    """The ratios of one engine; rounds alternate between the service and the bare routes."""
    practice = Practice(url)
    bearer = token.create(practice.books, SLUG, wanted=["system/*.cruds"], label="bench")
    posts = _posts(practice, (rounds + 1) * POSTS)
    alone = [_of_no_exam(one) for one in posts]
    reference, body = _stored(practice)
    practice.close()
    settle(url)
    file = folder / "observation.json"
    file.write_bytes(body)
    bare = free_port()
    with (
        service(url) as (port, _),
        running(["-m", "tests.bench.bare", str(bare), url, str(file)], port=bare),
    ):
        gets = [_request(f"GET /fhir/{reference}", bearer)] * GETS
        read = _alternate(port, bare, [gets] * (rounds + 1))
        kept = _alternate(port, bare, _blocks(alone, bearer))
        settled = _alternate(port, bare, _blocks(posts, bearer))
    return [
        rate("GET Observation / bare route", engine, read, least=READ.get(engine)),
        rate("POST Observation / bare route and commit", engine, kept, least=WROTE.get(engine)),
        rate("POST Observation that settles a step / same", engine, settled, least=WROTE.get(engine)),
    ]


def _blocks(posts: Sequence[bytes], bearer: str) -> list[list[bytes]]:
    return [[_request("POST /fhir/Observation", bearer, one) for one in part] for part in _parts(posts)]


def _of_no_exam(observation: bytes) -> bytes:
    """The same Observation without an order: it is kept, and no Task follows from it."""
    resource = exact.decode(observation)
    resource.pop("basedOn")
    return exact.encode(resource)


def memory(engine: str, url: str, *, resources: int) -> Line:
    """RSS of `serve` after so many resources came in by transactions, each exam's steps looked at as well."""
    practice = Practice(url)
    bearer = token.create(practice.books, SLUG, wanted=["system/*.cruds"], label="bench")
    with service(url) as (port, process), _client(port, bearer) as client:
        stored = 0
        while stored < resources:
            stored += _whole_exam(client, practice)
        status = Path(f"/proc/{process}/status").read_text()
    practice.close()
    kilobytes = next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS"))
    return Line(
        f"memory of serve after {stored:,} resources", engine, f"{kilobytes / 1024:.0f} MB", f"{MEGABYTES} MB",
        kilobytes / 1024 / MEGABYTES, 1.0,
    )  # fmt: skip


def _whole_exam(client: httpx.Client, practice: Practice) -> int:
    """How many resources one exam's order and evidence leave."""
    placed = client.post("", content=exam.order()).raise_for_status().json()["entry"]
    animal, _, order = (e["response"]["location"].split("/")[-3] for e in placed)
    with practice.books.view(SLUG) as view:
        found = view.exam_of_order(order)
        assert found is not None
    client.post("", content=exam.evidence(order, animal)).raise_for_status()
    steps = client.get("Task", params={"part-of": f"Task/{found.id}"}).raise_for_status().json()
    return 3 + 3 + int(steps["total"]) + 70  # what was ordered; exam, procedure and charge; steps; evidence


def _client(port: int, bearer: str) -> httpx.Client:
    headers = {"Authorization": f"Bearer {bearer}", "Content-Type": "application/fhir+json"}
    return httpx.Client(base_url=f"http://127.0.0.1:{port}/fhir/", headers=headers, trust_env=False, timeout=30)


def _posts(practice: Practice, count: int) -> list[bytes]:
    """Observations as a practice with a room for each connection sends them: so many exams in turns, then the next."""
    posts: list[bytes] = []
    while len(posts) < count:
        rooms = [exam.observations(*practice.placed(exam.order())[:2]) for _ in range(CONNECTIONS)]
        posts += chain.from_iterable(zip(*rooms, strict=True))
    return posts[:count]


def _parts(posts: Sequence[bytes]) -> list[Sequence[bytes]]:
    return [posts[at : at + POSTS] for at in range(0, len(posts), POSTS)]


def _stored(practice: Practice) -> tuple[str, bytes]:
    order, animal, _ = practice.placed(exam.order())
    first = practice.take(exam.evidence(order, animal))[0].stored
    assert first is not None
    return f"{first.type}/{first.id}", first.body


def _request(line: str, bearer: str, body: bytes = b"") -> bytes:
    head = [f"{line} HTTP/1.1", "Host: 127.0.0.1", f"Authorization: Bearer {bearer}", "Accept: application/fhir+json"]
    if body:
        head += ["Content-Type: application/fhir+json", f"Content-Length: {len(body)}"]
    return "\r\n".join([*head, "", ""]).encode() + body


def _alternate(port: int, bare: int, blocks: Sequence[Sequence[bytes]]) -> tuple[float, float]:
    """(median rate of the service, of the bare routes); the first block warms both."""
    pairs = [(_rate(port, block), _rate(bare, block)) for block in blocks][1:]
    return median(o for o, _ in pairs), median(b for _, b in pairs)


def _rate(port: int, requests: Sequence[bytes]) -> float:
    client = [sys.executable, str(Path(__file__).with_name("wire.py")), str(port), str(CONNECTIONS)]
    done = subprocess.run(client, input=pickle.dumps(list(requests)), capture_output=True, check=False)
    if done.returncode:
        raise SystemExit(done.stderr.decode(errors="replace"))
    return float(done.stdout)
