"""A clinic and a hospital of one service with an agreement between them, and a courier that runs when told to."""

import json
import threading
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, cast

import httpx
import pytest

from service import worker
from service.actions.ports import House
from service.basics.agreement import Agreement
from service.catalogue.load import Catalogues
from service.commands import agreement, organization
from service.courier.home import AtHome
from service.courier.round import Tally
from service.joined import application
from service.store import SqlBooks, open_books
from tests.api.running import client, register, served
from tests.builders.instances import BILLING, Instance
from tests.builders.survey import mappings
from tests.whole.telling import Desk

Meet = Callable[..., "Sides"]


@dataclass
class Sides:
    """A clinic's desk and a hospital's, and the id of their agreement."""

    books: SqlBooks
    base: str
    clinic: Desk
    hospital: Desk
    agreement: str

    def carry(self) -> Tally:
        """One run of a courier, until nothing is due."""
        rows = Catalogues(mappings(), self.books.catalogue_text)
        home = AtHome(lambda: House(self.books, rows, f"{self.base}/fhir"))
        return worker.run(self.books, stop=threading.Event(), until_idle=True, home=home)

    def dead(self) -> list[str]:
        """Why posts of either side were given up."""
        posts = [p for desk in (self.clinic, self.hospital) for p in self.books.deliveries(desk.slug, state="dead")]
        return [self.books.attempts(p.organization, p.id)[-1].reason for p in posts]


@pytest.fixture(scope="module")
def books(engine: str, database_url: Callable[[str], str]) -> Iterator[SqlBooks]:
    opened = open_books(database_url(engine))
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def base(books: SqlBooks) -> Iterator[str]:
    with served(application(books, mappings(), base="http://127.0.0.1/fhir")) as url:
        yield url


@pytest.fixture
def meet(books: SqlBooks, base: str) -> Iterator[Meet]:
    """Call it for a clinic and a hospital that never met others; terms: of the agreement, None for no agreement."""
    opened: list[httpx.Client] = []

    def desk(kind: str) -> Desk:
        slug = f"{kind}-{uuid.uuid4().hex[:10]}"
        books.add_organization(slug, f"Invented {kind} {slug[-4:]}", kind, json.dumps(BILLING))
        organization._resource(books, slug, f"Invented {kind} {slug[-4:]}")
        http = client(f"{base}/fhir/", register(books, slug, kind=kind))
        http.headers["Content-Type"] = "application/fhir+json"
        opened.append(http)
        return Desk(cast(Instance, None), slug, http, http)

    def made(terms: dict[str, Any] | None = {}, clinic: Desk | None = None) -> Sides:  # noqa: B006  # never changed
        one, other = clinic or desk("clinic"), desk("practice")
        name = f"agreed-{uuid.uuid4().hex[:8]}"
        if terms is not None:
            given = Agreement(id=name, hospital=other.slug, clinic=one.slug, by="Somebody", **terms)
            agreement.add(books, given, services=mappings().services)
        return Sides(books, base, one, other, name)

    yield made
    for http in opened:
        http.close()
