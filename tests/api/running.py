"""A real server on a free port of this machine, and clients that judge every body they receive."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import httpx
import uvicorn

from service.access import tokens
from service.store import SqlBooks
from tests.api.judges import judge


@contextmanager
def served(app: Any) -> Iterator[str]:
    """The address of an application while it is served; its shutdown is complete when the block ends."""
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_config=None, server_header=False, lifespan="on"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        while not server.started:
            assert thread.is_alive(), "the server did not start"
            time.sleep(0.01)
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join()
        listening.close()


def register(
    books: SqlBooks, organization: str, *scopes: str, kind: str = "records", role: str = "", party: str = ""
) -> str:
    """A token of an organisation (made when it is new)."""
    books.add_organization(organization, "An invented practice", kind)
    token, granted = tokens.new_token(), scopes or ("system/*.cruds",)
    books.add_token(tokens.fingerprint(token), organization, scopes=granted, label="a test", role=role, party=party)
    return token


def client(url: str, token: str = "") -> httpx.Client:
    """A client that judges every FHIR body it receives."""
    headers = {"Accept": "application/fhir+json"} | ({"Authorization": f"Bearer {token}"} if token else {})
    return httpx.Client(base_url=url, headers=headers, event_hooks={"response": [_judged]}, timeout=20)


def _judged(response: httpx.Response) -> None:
    response.read()
    if response.content and "fhir+json" in response.headers.get("content-type", ""):
        judge(response.content)
