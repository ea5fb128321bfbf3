"""Running instances: a database with service and courier as processes of their own, organisations and their clients."""

import json
import uuid
from pathlib import Path
from typing import Any

import httpx

from service.commands import destination, organization, token
from service.store import SqlBooks, open_books
from tests.api.judges import judge
from tests.builders.processes import Process, Server
from tests.builders.survey import mappings

Json = dict[str, Any]
ALL = "system/*.cruds"
BILLING = {
    "legalName": "Quillfold Small Animal Imaging",
    "address": "1 Example Lane, Nowhere",
    "taxNumber": "TAX-0001",
    "terms": "Payable within 14 days",
    "bank": "Invented Bank 0001",
}


class Instance:
    """One installation: its database, the processes over it, and an operator's hand on its organisations."""

    def __init__(self, database: str, folder: Path, **settings: str) -> None:
        self.database, self.folder = database, folder
        folder.mkdir(parents=True, exist_ok=True)
        self.environ = {
            "SONOLEDGER_DATABASE_URL": database,
            "SONOLEDGER_COURIER_PAUSE": "0.05",
            **{f"SONOLEDGER_{name.upper()}": value for name, value in settings.items()},
        }
        self.servers: list[Server] = []
        self.couriers: list[Process] = []
        self.books: SqlBooks = open_books(database)

    @property
    def url(self) -> str:
        """Where its first server answers."""
        return self.servers[0].url

    def serve(self, count: int = 1, *words: str) -> "Instance":
        """Start servers; all of them say the first one's address as their base."""
        for _ in range(count):
            server = Server(*words, log=self.folder / f"serve-{len(self.servers)}.log", environ=self.environ)
            server.environ["SONOLEDGER_BASE_URL"] = f"{(self.servers or [server])[0].url}/fhir"
            self.servers.append(server)
            server.start()
        for server in self.servers:
            server.ready()
        return self

    def work(self, module: str = "service.cli", *words: str) -> "Instance":
        """Start a courier; its module can be a test's own."""
        log = self.folder / f"work-{len(self.couriers)}.log"
        courier = Process(module, words or ("work",), log=log, environ=self.environ)
        self.couriers.append(courier)
        courier.start()
        return self

    def close(self) -> None:
        """Ask all that runs to stop, and close the store."""
        for process in (*self.couriers, *self.servers):
            if process.alive():
                process.stop()
        self.books.close()

    def organization(self, kind: str, *, billing: Json | None = None, slug: str = "") -> str:
        """A new organisation; billing is the content of its settings file."""
        name = slug or f"{kind}-{uuid.uuid4().hex[:12]}"
        file = self.folder / f"{name}.json"
        file.write_text(json.dumps(billing or {}), encoding="utf-8")
        row = mappings().practices["*"]
        return organization.add(self.books, name, kind=kind, billing=file if billing else None, row=row)

    def token(self, slug: str, *scopes: str) -> str:
        """A token of an organisation."""
        return token.create(self.books, slug, wanted=list(scopes or (ALL,)), label="a test")

    def send_to(self, slug: str, url: str, *, bearer: str = "", name: str = "record-system") -> None:
        """A destination of an organisation: a FHIR base and the token it wants."""
        file = self.folder / f"{slug}-{name}.authorization"
        file.write_text(f"Bearer {bearer}", encoding="ascii")
        there = {"organization": slug, "name": name, "url": url}
        destination.add(self.books, **there, authorization=file if bearer else None)

    def client(self, bearer: str, *, server: int = 0, judged: bool = True) -> httpx.Client:
        """A client of an organisation; every FHIR body it receives is judged by implementations that are not ours."""
        headers = {
            "Authorization": f"Bearer {bearer}",
            "Accept": "application/fhir+json",
            "Content-Type": "application/fhir+json",
        }
        hooks: dict[str, list[Any]] = {"response": [_judged]} if judged else {}
        base = f"{self.servers[server].url}/fhir/"
        return httpx.Client(base_url=base, headers=headers, event_hooks=hooks, timeout=60, trust_env=False)


def _judged(response: httpx.Response) -> None:
    response.read()
    if response.content and "fhir+json" in response.headers.get("content-type", ""):
        judge(response.content)
