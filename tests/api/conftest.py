"""One served application per module and engine; every test has an organisation of its own."""

import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import httpx
import pytest

from service.access.keyring import Bearer, Keyring
from service.actions.ports import House
from service.api.kit import Kit, Limits
from service.api.serve import create_app
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.fhir import search, validate
from service.fhir.reading import bundle
from service.joined import application
from service.store import SqlBooks
from tests.api import running, twins
from tests.api.besieged import besieged
from tests.builders.audited import Audited, Open

__all__ = ["besieged"]


@dataclass(frozen=True)
class Place:
    """A served application."""

    url: str
    books: SqlBooks
    transact: twins.TwinTransact

    def token(self, organization: str, *scopes: str, kind: str = "records") -> str:
        return running.register(self.books, organization, *scopes, kind=kind)

    def client(self, token: str = "") -> httpx.Client:
        return running.client(self.url, token)


def kit(books: SqlBooks, transact: twins.TwinTransact, *, limits: Limits | None = None) -> Kit:
    """Everything real but the writing action and the exam operations."""

    def find(fingerprint: str) -> Bearer | None:
        row = books.token(fingerprint)
        return Bearer(row.organization, row.kind, row.scopes, row.label) if row else None

    return Kit(
        house=House(books, twins.NoCatalogues(), base="http://sonoledger.example/fhir"),
        books=books,
        keys=Keyring(find),
        transact=transact,
        entries=bundle.entries,
        parse=search.parse,
        parameters=search.parameters,
        check=validate.check,
        profile=validate.profile,
        operations={"finish": twins.finish, "amend": twins.amend, "settle": twins.finish, "withdraw": twins.broken},
        version="0.0.1",
        limits=limits or Limits(body=100_000, bundle=300_000, seconds=1.5),
    )


@pytest.fixture(scope="module")
def place(module_books: SqlBooks) -> Iterator[Place]:
    transact = twins.TwinTransact()
    with running.served(create_app(kit(module_books, transact))) as url:
        yield Place(url, module_books, transact)


@pytest.fixture
def name() -> str:
    return f"records-{uuid.uuid4().hex[:12]}"


@pytest.fixture
def rest(place: Place, name: str) -> Iterator[httpx.Client]:
    """A client that may do everything in an organisation of its own."""
    with place.client(place.token(name)) as client:
        yield client


@pytest.fixture
def stored(rest: httpx.Client) -> Callable[..., dict[str, object]]:
    """Posts an invented Patient and gives what came back."""

    def post(**more: object) -> dict[str, object]:
        answer = rest.post("/fhir/Patient", json={"resourceType": "Patient", **more}, headers=JSON)
        assert answer.status_code == 201, answer.text
        return dict(answer.json())

    return post


@pytest.fixture(scope="module")
def joined(module_books: SqlBooks) -> Iterator[str]:
    """The address of the whole service: nothing behind it is a twin."""
    with running.served(application(module_books, load(read_folder()), base="http://sonoledger.example/fhir")) as url:
        yield url


@pytest.fixture
def enter(joined: str, module_books: SqlBooks) -> Iterator[Open]:
    """Call it for a client of a new organisation of a kind, with these scopes (all when none is named)."""
    made: list[Audited] = []

    def open_(kind: str = "records", *scopes: str, name: str = "") -> Audited:
        slug = name or f"{kind}-{uuid.uuid4().hex[:12]}"
        token = running.register(module_books, slug, *scopes, kind=kind)
        made.append(Audited(module_books, slug, running.client(joined, token)))
        return made[-1]

    yield open_
    for one in made:
        one.http.close()


JSON = {"Content-Type": "application/fhir+json"}
