"""The whole service on a port of its own, with every FHIR body that it answers written down."""

import threading
import time
from collections.abc import Iterator, MutableMapping
from contextlib import contextmanager
from typing import Any

import uvicorn

from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.joined import application
from service.store import SqlBooks
from tests.builders.processes import free_port


class Recorder:
    """ASGI middleware that keeps the bodies of JSON answers."""

    def __init__(self, app: Any) -> None:
        self._app = app
        self.bodies: list[bytes] = []
        self.broken: list[str] = []

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        parts: list[bytes] = []
        keep = False

        async def heard(message: MutableMapping[str, Any]) -> None:
            nonlocal keep
            if message["type"] == "http.response.start":
                keep = b"json" in dict(message["headers"]).get(b"content-type", b"")
                if message["status"] >= 500:
                    self.broken.append(f"{message['status']} {scope['method']} {scope['path']}")
            elif message["type"] == "http.response.body" and keep:
                parts.append(message.get("body", b""))
                if not message.get("more_body") and parts[0]:
                    self.bodies.append(b"".join(parts))
            await send(message)

        await self._app(scope, receive, heard)


@contextmanager
def serving(books: SqlBooks) -> Iterator[tuple[str, Recorder]]:
    """The FHIR base of the service over these books, and what records it."""
    port = free_port()
    base = f"http://127.0.0.1:{port}/fhir"
    recorder = Recorder(application(books, load(read_folder()), base=base))
    config = uvicorn.Config(recorder, host="127.0.0.1", port=port, log_config=None, server_header=False, lifespan="on")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        while not server.started:
            assert thread.is_alive(), "the server did not start"
            time.sleep(0.01)
        yield base, recorder
    finally:
        server.should_exit = True
        thread.join()
