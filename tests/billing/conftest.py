"""A practice on either engine whose clock stands until a test sets it."""

import json
import uuid
from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest

from service.joined import application
from service.store import SqlBooks, open_books
from tests.api.running import client, register, served
from tests.builders.bills import Clock
from tests.builders.counter_desk import Desk
from tests.builders.instances import BILLING
from tests.builders.survey import mappings

Named = Callable[..., str]


@pytest.fixture(scope="module")
def clock() -> Clock:
    return Clock("2026-11-25T10:00:00Z")


@pytest.fixture(scope="module")
def books(engine: str, database_url: Callable[[str], str], clock: Clock) -> Iterator[SqlBooks]:
    """Books by the clock of the test."""
    opened = open_books(database_url(engine), clock=clock)
    yield opened
    opened.close()


@pytest.fixture
def practice(books: SqlBooks, clock: Clock) -> Named:
    """Call it for a new practice, its settings over those of every test; the clock stands at 2026-11-25T10:00Z."""
    clock.set("2026-11-25T10:00:00Z")

    def made(**settings: Any) -> str:
        slug = f"practice-{uuid.uuid4().hex[:12]}"
        books.add_organization(slug, "Practice of a test", "practice", json.dumps({**BILLING, **settings}))
        return slug

    return made


@pytest.fixture
def slug(practice: Named) -> str:
    """A new practice."""
    return practice()


@pytest.fixture(scope="module")
def base(books: SqlBooks) -> Iterator[str]:
    with served(application(books, mappings(), base="http://127.0.0.1/fhir")) as url:
        yield url


@pytest.fixture
def desk_of(books: SqlBooks, base: str) -> Iterator[Callable[[str], Desk]]:
    opened: list[httpx.Client] = []

    def made(slug: str) -> Desk:
        opened.append(client(base, register(books, slug)))
        opened[-1].headers["Content-Type"] = "application/fhir+json"
        return Desk(books, slug, opened[-1])

    yield made
    for http in opened:
        http.close()


@pytest.fixture
def desk(desk_of: Callable[[str], Desk], slug: str) -> Desk:
    return desk_of(slug)
