"""What real sockets do to the courier: each hurts for its own time-out at most, and nothing counts as delivered."""

import socket
import ssl
import struct
import threading
import tracemalloc
import zlib
from dataclasses import replace
from pathlib import Path
from time import monotonic

import pytest

from service.courier.ports import Settlement
from tests.courier.carrying import carry
from tests.courier.receiver import Receiver, read_request, saying
from tests.courier.twin import Twin, TwinPost

HEAD = b"HTTP/1.1 200 OK\r\nContent-Type: application/fhir+json\r\n"
DONE = b'{"resourceType":"Bundle","type":"transaction-response","entry":[' + b",".join(
    [b'{"response":{"status":"201"}}'] * 2
)


def only(url: str, *, seconds: int = 1) -> Settlement:
    """The only attempt against this address."""
    outbox = Twin.of(TwinPost(url=url))
    begun = monotonic()
    carry(outbox, seconds=seconds)
    assert monotonic() - begun < seconds + 2
    ((_, settlement),) = outbox.attempts
    return settlement


def measured(url: str) -> tuple[Settlement, int]:
    """The only attempt, and the most memory that Python objects took meanwhile (bytes)."""
    tracemalloc.start()
    try:
        return only(url, seconds=5), tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_a_whole_answer_over_a_socket_is_a_delivery() -> None:
    body = DONE + b"]}"
    with Receiver(saying(HEAD + b"Content-Length: %d\r\n\r\n" % len(body) + body)).open() as url:
        assert only(url).state == "delivered"


def test_nobody_listening() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    settlement = only(f"http://127.0.0.1:{port}/fhir")
    assert (settlement.state, settlement.status) == ("waiting", None)
    assert "ConnectError" in settlement.reason


@pytest.mark.parametrize("first", [b"", HEAD, HEAD + b"Content-Length: 9999\r\n\r\n" + DONE], ids=["", "head", "body"])
def test_one_that_accepts_and_then_hangs(first: bytes) -> None:
    ended = threading.Event()
    with Receiver(saying(first, b"", every=20, ended=ended)).open() as url:
        settlement = only(url)
        ended.set()
    assert settlement.state == "waiting"
    assert "1 s" in settlement.reason or "Timeout" in settlement.reason


@pytest.mark.parametrize("head", [True, False])
def test_one_that_drips_is_cut_off_at_the_total_not_at_each_byte(head: bool) -> None:
    ended = threading.Event()
    drops = [bytes([each]) for each in HEAD + b"X-Long: " + b"x" * 500]
    first = [] if head else [HEAD + b"Content-Length: 9999\r\n\r\n"]
    with Receiver(saying(*first, *drops, every=0.1, ended=ended)).open() as url:
        settlement = only(url)
        ended.set()
    assert (settlement.state, settlement.reason) == ("waiting", "no complete answer within 1 s")


def test_one_that_resets_in_the_middle_of_a_good_answer() -> None:
    def reset(connection: socket.socket) -> None:
        connection.sendall(HEAD + b"Content-Length: 9999\r\n\r\n" + DONE)
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))

    with Receiver(reset).open() as url:
        settlement = only(url)
    assert (settlement.state, settlement.status) == ("waiting", None)


def test_one_that_speaks_something_else() -> None:
    with Receiver(saying(b"220 mail.test ESMTP\r\n")).open() as url:
        assert only(url).state == "waiting"


def test_one_whose_answer_never_ends_costs_no_memory() -> None:
    chunk = b"10000\r\n" + b" " * 0x10000 + b"\r\n"
    with Receiver(saying(HEAD + b"Transfer-Encoding: chunked\r\n\r\n", *[chunk] * 4_000)).open() as url:
        settlement, peak = measured(url)
    assert (settlement.state, settlement.status) == ("dead", 200)
    assert "too long" in settlement.reason
    assert peak < 10_000_000, "bytes; it offers 262 MB"


def test_one_that_packs_300_megabytes_into_300_kilobytes() -> None:
    packer = zlib.compressobj(wbits=31)
    bomb = b"".join(packer.compress(bytes(1_000_000)) for _ in range(300)) + packer.flush()
    assert len(bomb) < 400_000
    head = HEAD + b"Content-Encoding: gzip\r\nContent-Length: %d\r\n\r\n" % len(bomb)
    with Receiver(saying(head, bomb)).open() as url:
        settlement, peak = measured(url)
    assert (settlement.state, settlement.reason[-40:]) == ("dead", "Encoding gzip, though identity was asked for"[-40:])
    assert peak < 10_000_000, "bytes"


def test_a_redirect_on_the_wire_reaches_no_other_server() -> None:
    canary = Receiver(saying(HEAD + b"Content-Length: 0\r\n\r\n"))
    with canary.open() as elsewhere:
        moved = b"HTTP/1.1 308 Moved\r\nLocation: %s\r\nContent-Length: 0\r\n\r\n" % elsewhere.encode()
        with Receiver(saying(moved)).open() as url:
            assert only(url).state == "dead"
    assert canary.hits == 0


def test_a_certificate_nobody_vouches_for_gets_no_content() -> None:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(Path(__file__).with_name("untrusted.pem"))  # self-signed, made for this test, used nowhere
    acted: list[int] = []
    with Receiver(lambda connection: acted.append(1), tls=context).open() as url:
        settlement = only(url)
    assert (settlement.state, acted) == ("waiting", [])
    assert "CERTIFICATE_VERIFY_FAILED" in settlement.reason


def test_connections_are_kept_and_each_carries_one_send_at_a_time() -> None:
    body = DONE + b"]}"
    answer = HEAD + b"Content-Length: %d\r\n\r\n" % len(body) + body
    posts = [TwinPost(id=f"{n:04}", key=f"k{n}", thread=f"exam-{n}") for n in range(40)]
    asked: list[int] = []

    def keep(connection: socket.socket) -> None:
        for _ in range(40):
            asked.append(id(connection))
            connection.sendall(answer)
            read_request(connection)

    receiver = Receiver(keep)
    with receiver.open() as url:
        outbox = Twin.of(*(replace(post, url=url) for post in posts))
        assert carry(outbox).delivered == 40
    assert receiver.hits <= 8
    assert len(asked) >= 40
