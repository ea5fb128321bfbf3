"""Limits on what a request may cost: bytes, time, length. Nothing over them is stored, and the answer is quick."""

import socket
import time
from collections.abc import Iterator
from urllib.parse import urlsplit

import httpx
import pytest

from tests.api.conftest import JSON, Place


def big(size: int) -> bytes:
    head, tail = b'{"resourceType":"Patient","name":[{"text":"', b'"}]}'
    return head + b"x" * (size - len(head) - len(tail)) + tail


def chunks(body: bytes) -> Iterator[bytes]:
    for start in range(0, len(body), 10_000):
        yield body[start : start + 10_000]


@pytest.mark.parametrize("chunked", [False, True])
def test_a_body_over_its_limit_is_413(rest: httpx.Client, *, chunked: bool) -> None:
    for size, status in [(100_000, 201), (100_001, 413)]:
        body = big(size)
        answer = rest.post("/fhir/Patient", content=chunks(body) if chunked else body, headers=JSON)
        assert answer.status_code == status
    assert answer.json()["issue"][0]["code"] == "too-long"
    assert answer.headers["connection"] == "close"
    assert rest.get("/fhir/Patient?_summary=count").json()["total"] == 1


def test_a_bundle_may_be_larger(rest: httpx.Client) -> None:
    patient = big(90_000).decode()
    entry = '{"resource":' + patient + ',"request":{"method":"POST","url":"Patient"}}'
    for times, status in [(3, 200), (4, 413)]:
        body = '{"resourceType":"Bundle","type":"transaction","entry":[' + ",".join([entry] * times) + "]}"
        assert rest.post("/fhir", content=body.encode(), headers=JSON).status_code == status


def test_a_declared_body_that_is_too_large_is_not_waited_for(place: Place, name: str) -> None:
    answer, seconds = spoken(place, name, length="99999999999")
    assert b" 413 " in answer.partition(b"\r\n")[0]
    assert seconds < 1


def test_a_body_that_does_not_arrive_is_408(place: Place, name: str) -> None:
    answer, seconds = spoken(place, name, length="1000")
    assert b" 408 " in answer.partition(b"\r\n")[0]
    assert 1 < seconds < 5  # the limit of these tests is 1.5 seconds


def spoken(place: Place, name: str, *, length: str) -> tuple[bytes, float]:
    """The answer to a request whose body stops after its first byte, and how long it took."""
    address = urlsplit(place.url)
    lines = [
        "POST /fhir/Patient HTTP/1.1",
        "Host: x",
        f"Authorization: Bearer {place.token(name)}",
        "Content-Type: application/fhir+json",
        f"Content-Length: {length}",
    ]
    with socket.create_connection((address.hostname, address.port), timeout=10) as wire:
        began = time.monotonic()
        wire.sendall("\r\n".join([*lines, "", "{"]).encode())
        return wire.recv(65536), time.monotonic() - began


def test_a_caller_who_hangs_up_stores_nothing_and_breaks_nothing(place: Place, name: str) -> None:
    token, address = place.token(name), urlsplit(place.url)
    with socket.create_connection((address.hostname, address.port), timeout=10) as wire:
        head = f"POST /fhir/Patient HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {token}\r\nContent-Type: text/json"
        wire.sendall(f"{head}\r\nContent-Length: 1000\r\n\r\n{{".encode())
    with place.client(token) as rest:
        assert rest.get("/fhir/Patient?_summary=count").json()["total"] == 0


def test_a_url_over_its_limit_is_refused(rest: httpx.Client) -> None:
    assert rest.get("/fhir/Patient?identifier=" + "x" * 16_000).status_code == 200
    assert rest.get("/fhir/Patient?identifier=" + "x" * 17_000).status_code == 413
    assert rest.get("/fhir/Patient?" + "&".join(["_id=x"] * 201)).status_code == 400


def test_a_page_is_never_larger_than_its_limit(rest: httpx.Client) -> None:
    answer = rest.get("/fhir/Patient/_history?_count=999999999")
    assert answer.status_code == 200
