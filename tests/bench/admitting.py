"""What it costs to know who asks and what he may: its part of a GET by id, inside one process without a network."""

import asyncio
from collections.abc import Callable, MutableMapping
from typing import Any

from service.access import scopes
from service.access.keyring import Bearer, Keyring
from service.api import rules
from service.api.offers import PLACES
from service.api.reception import Reception
from service.commands import token
from service.joined import application
from tests.bench import exam
from tests.bench.house import SLUG, Practice
from tests.bench.measuring import Line, cost, in_turns

MOST = 0.10
TURNS = 200
NARROW = ["system/Observation.rs?status=preliminary,final,amended", "system/Patient.rs"]
Answered = Callable[[], None]


def lines(engine: str, url: str, *, rounds: int) -> list[Line]:
    """The ratios of one engine: authorisation to the whole GET, and GETs by a role's and by a narrowed token."""
    practice = Practice(url)
    order, animal, _ = practice.placed(exam.order())
    stored = practice.take(exam.evidence(order, animal))[0].stored
    assert stored is not None
    reference = f"{stored.type}/{stored.id}"
    app: Any = application(practice.books, exam.mappings(), base="http://127.0.0.1:8000/fhir")
    plain = token.create(practice.books, SLUG, wanted=["system/*.cruds"], label="bench")
    role = token.create(practice.books, SLUG, wanted=[], label="bench", role="interpreter")
    narrow = token.create(practice.books, SLUG, wanted=NARROW, label="bench")
    loop = asyncio.new_event_loop()
    try:
        tokens = {"plain": plain, "role": role, "narrow": narrow}
        each = {name: _gets(loop, app, reference, bearer) for name, bearer in tokens.items()}
        admitted = in_turns(_admissions(loop, practice, plain), each["plain"], rounds=rounds)
        of_role = in_turns(each["role"], each["plain"], rounds=rounds)
        limited = in_turns(each["narrow"], each["plain"], rounds=rounds)
    finally:
        loop.run_until_complete(loop.shutdown_default_executor())
        loop.close()
        practice.close()
    return [
        cost(f"knowing who asks and may / GET by id, {TURNS} times", engine, admitted, most=MOST),
        cost(f"GET by id by a role's token / by a plain one, {TURNS} times", engine, of_role),
        cost(f"GET by id of a part of a type / by a plain token, {TURNS} times", engine, limited),
    ]


def _admissions(loop: asyncio.AbstractEventLoop, practice: Practice, bearer: str) -> Answered:
    """What a request goes through before it is looked at: the token, its bearer, its scopes."""
    row = Bearer(SLUG, "practice", ("system/*.cruds",), "bench")
    kit: Any = type("Kit", (), {"keys": Keyring(lambda _: row), "books": practice.books})
    reception, headers = Reception(kit), {"authorization": f"Bearer {bearer}"}
    offer = PLACES["/{type}/{id}"]["GET"]

    async def every() -> None:
        for _ in range(TURNS):
            caller = await reception.caller(headers, request="x")
            rules.permitted(offer, caller, "Observation")
            scopes.narrowed(caller.scopes)

    return lambda: loop.run_until_complete(every())


def _gets(loop: asyncio.AbstractEventLoop, app: Any, reference: str, bearer: str) -> Answered:
    """TURNS requests answered by the application as the server hands them in."""
    headers = [(b"authorization", f"Bearer {bearer}".encode()), (b"accept", b"application/fhir+json")]
    statuses: set[int] = set()

    async def receive() -> MutableMapping[str, Any]:
        return {"type": "http.request", "body": b""}

    async def send(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            statuses.add(message["status"])

    async def every() -> None:
        for _ in range(TURNS):
            await app(_scope(reference, headers), receive, send)
        if statuses != {200}:
            raise SystemExit(f"a GET was answered {sorted(statuses)}")

    return lambda: loop.run_until_complete(every())


def _scope(reference: str, headers: list[tuple[bytes, bytes]]) -> dict[str, Any]:
    path = f"/fhir/{reference}"
    return {
        "type": "http",
        "http_version": "1.1",
        "method": "GET",
        "path": path,
        "raw_path": path.encode(),
        "root_path": "",
        "scheme": "http",
        "query_string": b"",
        "headers": headers,
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 8000),
    }
