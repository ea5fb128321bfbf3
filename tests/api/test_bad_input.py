"""Bad input gets an OperationOutcome with 4xx in under a second; nothing is stored, and memory does not grow."""

import os
import socket
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest

from service.store import open_books
from tests.api.running import register
from tests.builders import bad_input as bad
from tests.builders.processes import Server

SECONDS = 1.0
"""What an answer may take of a processor: other work shares the machine, so a clock on the wall would tell of that."""
GROWTH = 200 * bad.MEGABYTE
"""What the worst of it may take while it is looked at: about twenty times its bytes."""
FHIR = {"Content-Type": bad.FHIR}
PATCH = {"Content-Type": "application/json-patch+json"}


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


@pytest.fixture
def doors(besieged: Besieged) -> list[tuple[str, str]]:
    """Everywhere a body goes that is JSON."""
    return [
        ("POST", "/fhir/Patient"),
        ("POST", "/fhir/Observation"),
        ("POST", "/fhir"),
        ("PUT", besieged.patient),
        ("PUT", "/fhir/Patient?identifier=urn:x|y"),
        ("POST", "/fhir/Task/x/$finish"),
        ("POST", "/fhir/Observation/$lastn"),
    ]


EMPTY = {b"", b" \r\n\t "}


@pytest.mark.parametrize("kind", ["DEEP", "WIDE", "LETTERS", "NUMBERS", "NOT_JSON"])
def test_a_text_that_is_no_resource(besieged: Besieged, doors: list[tuple[str, str]], kind: str) -> None:
    for text in getattr(bad, kind).values():
        for method, path in doors:
            if text not in EMPTY or "$" not in path:  # an operation may come without a body
                besieged.refuses(method, path, text, FHIR)
    besieged.unchanged()


@pytest.mark.parametrize("name", bad.BUNDLES)
def test_a_bundle_that_is_none(besieged: Besieged, name: str) -> None:
    besieged.refuses("POST", "/fhir", bad.BUNDLES[name], FHIR)
    besieged.unchanged()


@pytest.mark.parametrize("name", bad.PATCHES)
def test_a_patch_that_is_none(besieged: Besieged, name: str) -> None:
    besieged.refuses("PATCH", besieged.patient, bad.PATCHES[name], PATCH)
    besieged.unchanged()


@pytest.mark.parametrize("name", bad.MEDIA)
def test_a_type_that_is_not_taken(besieged: Besieged, doors: list[tuple[str, str]], name: str) -> None:
    media, body = bad.MEDIA[name]
    for method, path in [*doors, ("PATCH", besieged.patient)]:
        besieged.refuses(method, path, body, {"Content-Type": media})
    besieged.unchanged()


@pytest.mark.parametrize("name", bad.ENCODED)
def test_a_body_that_is_packed(besieged: Besieged, doors: list[tuple[str, str]], name: str) -> None:
    encoding, body = bad.ENCODED[name]
    for method, path in doors:
        besieged.refuses(method, path, body, FHIR | {"Content-Encoding": encoding})
    besieged.unchanged()


def test_a_text_of_50_megabytes(besieged: Besieged, doors: list[tuple[str, str]]) -> None:
    whole = b"".join(bad.endless(50))
    for method, path in doors:
        for sent in (whole, lambda: bad.endless(50)):  # with its length, and in chunks
            with suppress(httpx.WriteError, httpx.RemoteProtocolError):  # it may hang up before all is sent
                besieged.refuses(method, path, sent, FHIR)
    besieged.unchanged()


def test_a_gzip_file_without_saying_so(besieged: Besieged) -> None:
    besieged.refuses("POST", "/fhir/Patient", bad.ENCODED["a gzip bomb"][1], FHIR)
    besieged.unchanged()


ADDRESSES = [
    "/fhir/Patient?name=%00",
    "/fhir/Patient?name=%c0%af",
    "/fhir/Patient?name=%ed%a0%80",
    "/fhir/Patient?" + "&".join(["name=x"] * 1000),
    "/fhir/Patient?name=" + "x" * 20_000,
    "/fhir/Patient/%00",
    "/fhir/Patient/%c0%ae%c0%ae/",
    "/fhir/Patient/..%2f..%2fmetadata",
    "/fhir/Patient/" + "x" * 65,
    "/fhir/Patient/a%20b",
    "/fhir/Patient/%F0%9F%90%95",
    "/fhir/%70atient",
    "/fhir/__proto__/1",
    "/fhir//Patient",
    "/fhir/Patient/x/_history/0",
    "/fhir/Patient/x/_history/" + "9" * 5000,
    "/fhir/Patient/x/_history/1e3",
    "/fhir/Patient/$nothing",
    "/fhir/Patient?_page=x",
    "/fhir/Patient?_page=" + "A" * 10_000,
    "/fhir/Patient?_count=-1",
    "/fhir/Patient?_count=" + "9" * 5000,
    "/fhir/Patient?_sort=" + "-" * 5000,
    "/fhir/Patient?birthdate=gt",
    "/fhir/Patient?birthdate=9999-99-99",
    "/fhir/Patient?_lastUpdated=99999-01-01",
    "/fhir/Patient?_format=" + "x" * 5000,
    "/fhir/_history?_since=" + "9" * 5000,
    "/fhir/_history?_count=x",
]


def test_an_address_that_leads_nowhere(besieged: Besieged) -> None:
    for address in ADDRESSES:
        besieged.refuses("GET", address, b"", {})


WEIRD = [
    "",
    '"',
    "W/",
    'W/"x"',
    "*",
    "99999999999999999999",
    "\xff\xfe",
    ";" * 1000,
    "=,=;q=nan",
    "a;q=1e999",
    "%00",
    "NaN",
]
LISTENED = ["Accept", "Prefer", "If-Match", "If-None-Match", "If-None-Exist", "If-Modified-Since", "X-Request-Id"]


@pytest.mark.parametrize("name", LISTENED)
def test_a_header_that_makes_no_sense_breaks_nothing(besieged: Besieged, name: str) -> None:
    for value in WEIRD:
        headers = [(name.encode(), value.encode("latin-1"))]
        for method, path in [("GET", besieged.patient), ("DELETE", "/fhir/Observation/x"), ("PUT", "/fhir/Patient/x")]:
            answer = besieged.http.request(method, path, headers=headers)
            assert answer.status_code < 500, (name, value, answer.text)
    besieged.unchanged()


@pytest.mark.parametrize("value", ["", "Bearer", "Basic eDp4", "Bearer \xff", "Bearer " + "x" * 60_000, "Bearer a b"])
def test_a_token_that_is_none(besieged: Besieged, value: str) -> None:
    answer = httpx.get(
        f"http://127.0.0.1:{besieged.port}/fhir/Patient", headers=[(b"authorization", value.encode("latin-1"))]
    )
    assert answer.status_code == 401
    assert answer.json()["resourceType"] == "OperationOutcome"


def test_bodies_that_dribble_do_not_hold_up_others(besieged: Besieged) -> None:
    head = (
        f"POST /fhir/Patient HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {besieged.token}\r\nContent-Type: text/json"
    )
    wires = [socket.create_connection(("127.0.0.1", besieged.port), timeout=10) for _ in range(100)]
    try:
        for wire in wires:
            wire.sendall(f"{head}\r\nContent-Length: 1000000\r\n\r\n{{".encode())
        best = SECONDS
        for _ in range(3):
            began = time.monotonic()
            assert besieged.http.get(besieged.patient).status_code == 200
            best = min(best, time.monotonic() - began)
        assert best < SECONDS
    finally:
        for wire in wires:
            wire.close()
    besieged.unchanged()


BROKEN = [
    b"\0\0\0\0\r\n\r\n",
    b"GET /fhir/metadata HTTP/9.9\r\n\r\n",
    b"GET " + b"/" * 200_000 + b" HTTP/1.1\r\nHost: x\r\n\r\n",
    b"POST /fhir/Patient HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\n\r\n",
    b"POST /fhir/Patient HTTP/1.1\r\nHost: x\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\nabcde",
    b"POST /fhir/Patient HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\nZZ\r\n",
    b"POST /fhir/Patient HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\nFFFFFFFFFFFFFFFFF\r\nx",
    b"GET /fhir/metadata HTTP/1.1\r\nHost: x\r\nX: " + b"y" * 1_000_000 + b"\r\n\r\n",
    b"GET /fhir/metadata HTTP/1.1\r\nHost: x\r\n" + b"X: y\r\n" * 100_000 + b"\r\n",
    b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
    b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
]


def test_what_is_not_http_is_hung_up_on_and_the_next_one_is_served(besieged: Besieged) -> None:
    for text in BROKEN:
        # it may hang up before all is sent
        with socket.create_connection(("127.0.0.1", besieged.port), timeout=2) as wire, suppress(OSError):
            wire.sendall(text)
            assert b" 5" not in wire.recv(65536).partition(b"\r\n")[0][:12]
        assert besieged.http.get("/livez").status_code == 200
    besieged.unchanged()


def test_memory_is_flat_at_the_end(besieged: Besieged) -> None:
    assert besieged.grown() < GROWTH
