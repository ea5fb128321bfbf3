"""Servers as processes of their own: the service on a database, the bare routes, a receiver of posts."""

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]
PATIENCE = 120.0


@contextmanager
def running(words: Sequence[str], *, port: int, environ: Mapping[str, str] | None = None) -> Iterator[int]:
    """The process id of `python words...` once it takes connections; it is stopped at the end."""
    own = {k: v for k, v in os.environ.items() if not k.startswith("SONOLEDGER_")}
    process = subprocess.Popen(
        [sys.executable, *words], env={**own, **(environ or {})}, cwd=ROOT, stdout=subprocess.DEVNULL
    )
    try:
        _ready(process, port)
        yield process.pid
    finally:
        process.terminate()
        process.wait(PATIENCE)


@contextmanager
def service(url: str) -> Iterator[tuple[int, int]]:
    """(port, process id) of `serve` on a database, with the settings it has when nobody sets any."""
    port = free_port()
    words = ["-m", "service.cli", "serve", "--port", str(port)]
    with running(words, port=port, environ={"SONOLEDGER_DATABASE_URL": url}) as process:
        yield port, process


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        return int(free.getsockname()[1])


def _ready(process: "subprocess.Popen[bytes]", port: int) -> None:
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until:
        if process.poll() is not None:
            raise SystemExit(f"a server ended by itself: {process.args!r}")
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
        except OSError:
            time.sleep(0.05)
        else:
            return
    raise SystemExit("a server did not come up in time")
