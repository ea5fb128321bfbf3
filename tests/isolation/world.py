"""Organisations side by side in one served application: whose data is whose, what each may send, and what is stored."""

import json
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any

import httpx
from sqlalchemy import create_engine, select, text

from service.fhir import exact
from service.fhir.definitions import Definitions
from service.joined import application
from service.store import SqlBooks, open_books
from service.store.tables import metadata
from tests.api import running
from tests.builders.instances import BILLING
from tests.builders.survey import mappings
from tests.isolation.canaries import Canaries
from tests.isolation.practice import Story
from tests.isolation.records import transaction

Json = dict[str, Any]
BASE = "http://sonoledger.example/fhir"
SENT = {"Content-Type": "application/fhir+json", "Accept": "application/fhir+json"}


@dataclass
class House:
    """One organisation; resources: type -> all that it keeps, the newest first; pages: page links it was given."""

    slug: str
    kind: str
    canaries: Canaries
    http: httpx.Client
    refused: set[str] = field(default_factory=set)  # types of which the practice's rules take no invented whole
    resources: dict[str, list[Json]] = field(default_factory=dict)
    pages: list[str] = field(default_factory=list)
    exams: list[str] = field(default_factory=list)  # two that are alike and open

    def look(self) -> None:
        """Read all that it keeps, and note what nobody else may see of it."""
        self.resources = {}
        link = "/fhir/_history?_count=500"
        while link:
            bundle = exact.decode(self.http.get(link).content)
            for entry in bundle.get("entry", []):
                if "resource" in entry:
                    kept = self.resources.setdefault(entry["resource"]["resourceType"], [])
                    if all(one["id"] != entry["resource"]["id"] for one in kept):
                        kept.append(entry["resource"])
                        self.canaries.holds(entry["resource"])
            link = _link(bundle, "next")
        audit = exact.decode(self.http.get("/fhir/AuditEvent?_count=3").content)
        self.resources["AuditEvent"] = [entry["resource"] for entry in audit.get("entry", [])]
        for type_ in ("Patient", "Observation"):
            for order in ("", "&_sort=-_lastUpdated", "&_sort=_id"):
                self.pages.append(_link(self.http.get(f"/fhir/{type_}?_count=1{order}").json(), "next"))
        self.pages.append(_link(self.http.get("/fhir/_history?_count=1").json(), "next"))
        self.pages = [one for one in self.pages if one]


@dataclass
class World:
    """alpha and beta are practices with the same story, gamma a record system's organisation."""

    url: str
    database: str
    alpha: House
    beta: House
    gamma: House
    routes: tuple[str, ...] = ()  # all that the application answers

    def stored(self, house: House) -> Mapping[str, str]:
        """Table -> digest of all rows of an organisation, but the audit of its own reads."""
        engine = create_engine(self.database.replace("postgresql://", "postgresql+psycopg://"))
        with engine.connect() as rows:
            found = {}
            for name, table in metadata.tables.items():
                if "organization" in table.columns and name != "audit":
                    asked = select(table).where(table.c.organization == house.slug)
                    found[name] = _digest(rows.execute(asked))
            for name in ("mark", "text_mark"):
                asked = text(f"SELECT m.* FROM {name} m JOIN resource r ON r.row = m.row WHERE r.organization = :o")
                found[name] = _digest(rows.execute(asked, {"o": house.slug}))
        engine.dispose()
        return found

    def audited(self, house: House) -> set[str]:
        """The request ids in the audit of an organisation."""
        engine = create_engine(self.database.replace("postgresql://", "postgresql+psycopg://"))
        with engine.connect() as rows:
            asked = text("SELECT request FROM audit WHERE organization = :o")
            found = {str(row[0]) for row in rows.execute(asked, {"o": house.slug})}
        engine.dispose()
        return found


@contextmanager
def world(database: str, definitions: Definitions, *, turns: int, whole: bool) -> Iterator[World]:
    """Three organisations on a fresh database, served. turns: how often each type is kept; whole: with exams."""
    books = open_books(database)
    app = application(books, mappings(), base=BASE)
    with running.served(app) as url:
        kinds = {"a": "practice", "b": "practice", "g": "records"}
        houses = [_house(books, url, letter, kind) for letter, kind in kinds.items()]
        for one in houses[0 if whole else 1 : 2]:
            _practice(books, one, definitions, turns=turns, whole=whole)
        for turn in range(turns):
            bundle = transaction(definitions, turn, houses[2].canaries)
            assert houses[2].http.post("/fhir", content=exact.encode(bundle)).status_code == 200
        for one in houses:
            one.look()
        yield World(url, database, *houses, routes=tuple(getattr(one, "path", "") for one in app.router.routes))
        for one in houses:
            one.http.close()
    books.close()


def _house(books: SqlBooks, url: str, letter: str, kind: str) -> House:
    canaries = Canaries(letter)
    slug = f"{kind}-{canaries.word()}-{uuid.uuid4().hex[:8]}"
    told = {**BILLING, **{name: canaries.word() for name in ("legalName", "address", "terms", "bank")}}
    books.add_organization(slug, canaries.word(), kind, json.dumps(told))
    token = running.register(books, slug, kind=kind)
    canaries.secrets[token] = "0" * len(token)
    headers = {**SENT, "Authorization": f"Bearer {token}"}
    return House(slug, kind, canaries, httpx.Client(base_url=url, headers=headers, timeout=60))


def _practice(books: SqlBooks, one: House, definitions: Definitions, *, turns: int, whole: bool) -> None:
    story = Story(books, one.slug, one.http)
    story.canaries = one.canaries
    for turn in range(turns):
        one.refused |= story.keep_all(definitions, turn)
    story.subscribe()
    if whole:
        story.own_prices()
        one.exams = [story.open_exam(), story.open_exam()]
        story.finished_exams()
        story.look_for_exceptions()


def _link(bundle: Json, relation: str) -> str:
    found = next((str(one["url"]) for one in bundle.get("link", []) if one["relation"] == relation), "")
    return found.removeprefix(BASE[:-5])


def _digest(rows: Any) -> str:
    return sha256("\n".join(sorted(repr(tuple(row)) for row in rows)).encode()).hexdigest()
