"""A record system made of bare sockets, for what only a wire can do: hang, drip, break off, swell."""

import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

Act = Callable[[socket.socket], None]


@dataclass
class Receiver:
    """Listens on loopback and gives every connection to `act` after reading the request."""

    act: Act
    tls: ssl.SSLContext | None = None
    hits: int = 0
    ended: threading.Event = field(default_factory=threading.Event)

    @contextmanager
    def open(self) -> Iterator[str]:
        """The base URL, until the end of the with."""
        with socket.create_server(("127.0.0.1", 0)) as listening:
            thread = threading.Thread(target=self._serve, args=(listening,), daemon=True)
            thread.start()
            try:
                yield f"{'https' if self.tls else 'http'}://127.0.0.1:{listening.getsockname()[1]}/fhir"
            finally:
                self.ended.set()
                with suppress(OSError):
                    listening.shutdown(socket.SHUT_RDWR)
                thread.join(5)

    def _serve(self, listening: socket.socket) -> None:
        with suppress(OSError):
            while not self.ended.is_set():
                connection, _ = listening.accept()
                self.hits += 1
                threading.Thread(target=self._answer, args=(connection,), daemon=True).start()

    def _answer(self, connection: socket.socket) -> None:
        with suppress(OSError), connection:
            wrapped = self.tls.wrap_socket(connection, server_side=True) if self.tls else connection
            with wrapped:
                read_request(wrapped)
                self.act(wrapped)


def read_request(connection: socket.socket) -> None:
    """All of it: closing on unread bytes would reset the connection under the answer."""
    taken = b""
    while b"\r\n\r\n" not in taken:
        taken += _more(connection)
    head, _, body = taken.partition(b"\r\n\r\n")
    length = next(int(line[15:]) for line in head.split(b"\r\n") if line.lower().startswith(b"content-length:"))
    while len(body) < length:
        body += _more(connection)


def _more(connection: socket.socket) -> bytes:
    part = connection.recv(65_536)
    if not part:
        raise ConnectionError("the other side went away")
    return part


def saying(*parts: bytes, every: float = 0, ended: threading.Event | None = None) -> Act:
    """Sends the parts one after another, `every` so many seconds, then closes."""

    def act(connection: socket.socket) -> None:
        for part in parts:
            connection.sendall(part)
            if every and (ended or threading.Event()).wait(every):
                return

    return act
