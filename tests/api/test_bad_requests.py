"""Addresses, headers, tokens and wires that make no sense break nothing and hold up nobody."""

import socket
import time
from contextlib import suppress

import httpx
import pytest

from tests.api.besieged import SECONDS, Besieged

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
    "/fhir/Patient/%C2%84/Observation",
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
