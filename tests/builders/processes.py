"""One process of the service: started, watched, asked to stop or killed, and started again on the same port."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

import httpx

ROOT = Path(__file__).parents[2]
PATIENCE = 90.0  # seconds a process may take to be ready


def free_port() -> int:
    """A port of this machine that nobody listens on."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        return int(free.getsockname()[1])


class Process:
    """A Python module run as a process of its own; its output is appended to a log file."""

    def __init__(self, module: str, words: Sequence[str], *, log: Path, environ: Mapping[str, str]) -> None:
        self.command = [sys.executable, "-m", module, *words]
        self.log = log
        self.environ = {**{k: v for k, v in os.environ.items() if not k.startswith("SONOLEDGER_")}, **environ}
        self.running: subprocess.Popen[bytes] | None = None
        self.starts = 0

    def start(self) -> None:
        """Start it (again)."""
        with self.log.open("ab") as log:
            self.running = subprocess.Popen(
                self.command, env=self.environ, cwd=ROOT, stdout=log, stderr=subprocess.STDOUT
            )
        self.starts += 1

    def kill(self) -> None:
        """End it at once, wherever it is."""
        if self.running is not None:
            self.running.kill()
            self.running.wait()
            self.running = None

    def stop(self) -> tuple[int, float]:
        """Ask it to stop; its exit code and the seconds it took."""
        assert self.running is not None
        began = time.monotonic()
        self.running.send_signal(signal.SIGTERM)
        code = self.running.wait(PATIENCE)
        self.running = None
        return code, time.monotonic() - began

    def alive(self) -> bool:
        """Whether it runs."""
        return self.running is not None and self.running.poll() is None

    def told(self) -> str:
        """What it has written so far."""
        return self.log.read_text(encoding="utf-8", errors="replace") if self.log.exists() else ""


class Server(Process):
    """`sonoledger serve` on a port that stays its own."""

    def __init__(self, *words: str, log: Path, environ: Mapping[str, str]) -> None:
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        super().__init__("service.cli", ["serve", "--port", str(self.port), *words], log=log, environ=environ)

    def ready(self) -> None:
        """Wait until it answers; fails when it ended by itself."""
        until, said = time.monotonic() + PATIENCE, "nothing"
        while time.monotonic() < until:
            assert self.alive(), f"the service ended by itself: {self.told()[-2000:]}"
            try:
                answer = httpx.get(f"{self.url}/readyz", trust_env=False, timeout=5)
                if answer.status_code == 200:
                    return
                said = answer.text
            except httpx.TransportError as fault:
                said = type(fault).__name__
            time.sleep(0.03)
        raise AssertionError(f"the service is not ready in time: {said}")
