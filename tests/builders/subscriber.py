"""A subscriber: a small HTTP server that keeps what it is told and answers as it is asked to."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

Json = dict[str, Any]


@dataclass
class Told:
    """One request that came."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> Json:
        found: Json = json.loads(self.body)
        return found


@dataclass
class Subscriber:
    """url: where it listens; statuses: what it answers, one after another, then 200."""

    url: str = ""
    told: list[Told] = field(default_factory=list)
    statuses: list[int] = field(default_factory=list)

    def parameters(self) -> list[Json]:
        """The status of each notification, name -> value, in order."""
        return [plain(one.json["entry"][0]["resource"]) for one in self.told if one.body]

    def kinds(self) -> list[str]:
        return [str(one["type"]) for one in self.parameters()]


def plain(parameters: Json) -> Json:
    """Parameters as name -> value; those that come more than once or have parts as lists."""
    found: Json = {}
    for one in parameters["parameter"]:
        if "part" in one:
            found.setdefault(one["name"], []).append(plain({"parameter": one["part"]}))
        else:
            found[one["name"]] = next(value for key, value in one.items() if key.startswith("value"))
    return found


@contextmanager
def subscriber() -> Iterator[Subscriber]:
    """One that listens until the block ends."""
    made = Subscriber()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
            headers = {name.lower(): value for name, value in self.headers.items()}
            made.told.append(Told(self.command, self.path, headers, body))
            self.send_response(made.statuses.pop(0) if made.statuses else 200)
            self.send_header("Content-Length", "0")
            self.end_headers()

        do_PUT = do_POST  # noqa: N815  # the library's name

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    made.url = f"http://127.0.0.1:{server.server_port}/hook"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield made
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
