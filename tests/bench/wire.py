"""Raw requests from standard input over keep-alive connections, as fast as answers come, into requests per second.

A process of its own (`python wire.py PORT CONNECTIONS`) and nothing but sockets: what is measured is the server."""

import pickle
import selectors
import socket
import sys
from time import perf_counter

HEAD_END = b"\r\n\r\n"


def main() -> None:
    """Send every request once; print seconds for all, or fail at the first answer that is not 2xx."""
    port, count = int(sys.argv[1]), int(sys.argv[2])
    requests: list[bytes] = pickle.loads(sys.stdin.buffer.read())  # from our own parent process
    todo = iter(requests)
    waiting = selectors.DefaultSelector()
    began = perf_counter()
    for first in (next(todo, None) for _ in range(count)):
        if first is not None:
            connection = socket.create_connection(("127.0.0.1", port))
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            connection.sendall(first)
            waiting.register(connection, selectors.EVENT_READ, bytearray())
    while waiting.get_map():
        for key, _ in waiting.select():
            _receive(key, waiting, todo)
    print(len(requests) / (perf_counter() - began))


def _receive(key: selectors.SelectorKey, waiting: selectors.BaseSelector, todo: "object") -> None:
    connection, got = key.fileobj, key.data
    part = connection.recv(1 << 20)  # type: ignore[union-attr]
    if not part:
        raise SystemExit("the server hung up")
    got += part
    head = got.find(HEAD_END)
    if head < 0 or len(got) < head + 4 + _length(got[:head]):
        return
    if got[9:10] != b"2":
        raise SystemExit(bytes(got[:4000]).decode(errors="replace"))
    got.clear()
    following = next(todo, None)  # type: ignore[call-overload]
    if following is None:
        waiting.unregister(connection)
        connection.close()  # type: ignore[union-attr]
    else:
        connection.sendall(following)  # type: ignore[union-attr]


def _length(head: bytes) -> int:
    at = head.lower().find(b"content-length:")
    return int(head[at + 15 :].split(b"\r\n", 1)[0]) if at >= 0 else 0


if __name__ == "__main__":
    main()
