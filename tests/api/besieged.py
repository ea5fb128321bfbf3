"""The service as it is run, in a process of its own, whose work and memory are measured while it is sent nonsense."""

import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest

from service.store import open_books
from tests.api.running import register
from tests.builders import bad_input as bad
from tests.builders.processes import Server

FHIR = {"Content-Type": bad.FHIR}
SECONDS = 1.0
"""What an answer may take of a processor: other work shares the machine, so a clock on the wall would tell of that."""
GROWTH = 100 * bad.MEGABYTE
"""What the worst of it may take while it is looked at: about ten times its bytes."""


@dataclass(frozen=True)
class Besieged:
    """A served process, the Patient that it holds, and what memory it took once it was warm."""

    http: httpx.Client
    token: str
    port: int
    process: int
    patient: str
    warm: int

    def refuses(self, method: str, path: str, body: object, headers: Mapping[str, str]) -> None:
        """Send it; fails unless it is refused as it should be."""
        began = worked(self.process)
        answer = self.http.request(method, path, content=body() if callable(body) else body, headers=headers)
        taken = worked(self.process) - began
        assert 400 <= answer.status_code < 500, (path, answer.status_code, answer.text[:300])
        outcome = answer.json()
        assert outcome["resourceType"] == "OperationOutcome"
        assert 1 <= len(outcome["issue"]) <= 500
        assert len(answer.content) < 200_000
        assert taken < SECONDS, (path, taken)

    def unchanged(self) -> None:
        """Fails unless it holds the one version of the one Patient, and nothing else."""
        assert len(self.http.get("/fhir/_history").json()["entry"]) == 1

    def grown(self) -> int:
        return peak(self.process) - self.warm


def worked(process: int) -> float:
    """The seconds that a process has spent on a processor."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def peak(process: int) -> int:
    """The most memory that a process has held, in bytes."""
    for line in Path(f"/proc/{process}/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) * 1024
    raise AssertionError("the system does not tell")


@pytest.fixture(scope="module")
def besieged(
    engine: str, database_url: Callable[[str], str], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Besieged]:
    """The service as it is run, with a Patient of an organisation that may do everything."""
    url = database_url(engine)
    books = open_books(url)
    token = register(books, "an-invented-organisation")
    books.close()
    log = tmp_path_factory.mktemp("besieged") / "log"
    server = Server(log=log, environ={"SONOLEDGER_DATABASE_URL": url})
    server.start()
    try:
        server.ready()
        assert server.running is not None
        headers = {"Authorization": f"Bearer {token}"}
        with httpx.Client(base_url=server.url, headers=headers, timeout=10, trust_env=False) as http:
            made = http.post("/fhir/Patient", json={"resourceType": "Patient", "active": True}, headers=FHIR)
            pid = server.running.pid
            yield Besieged(http, token, server.port, pid, f"/fhir/Patient/{made.json()['id']}", peak(pid))
        assert '"unexpected"' not in server.told()
    finally:
        server.kill()
