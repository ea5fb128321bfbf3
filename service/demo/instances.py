"""The service as processes of their own: started on a free port, waited for, measured, always stopped."""

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx

from service.demo.trouble import Trouble

PATIENCE = 15.0  # seconds that an instance may take to start
PREFIX = "SONOLEDGER_"


@dataclass(frozen=True, slots=True)
class Instance:
    """One installation: its own database, its own port, its own log."""

    title: str
    database: Path
    port: int
    log: Path

    @property
    def root(self) -> str:
        """The address of the instance."""
        return f"http://127.0.0.1:{self.port}"

    @property
    def base(self) -> str:
        """Its FHIR base."""
        return f"{self.root}/fhir"

    @property
    def environment(self) -> dict[str, str]:
        """The environment of all its commands: ours, without settings meant for another installation."""
        kept = {name: value for name, value in os.environ.items() if not name.startswith(PREFIX)}
        own = {"DATABASE_URL": f"sqlite:///{self.database.as_posix()}", "COURIER_PAUSE": "0.2"}
        return {**kept, **{f"{PREFIX}{name}": value for name, value in own.items()}}

    def command(self, *words: str) -> str:
        """Type a command at this instance; what it prints. Raises Trouble with its last line when it fails."""
        line = [sys.executable, "-m", "service.cli", *words]
        done = subprocess.run(line, env=self.environment, capture_output=True, text=True, timeout=60, check=False)
        if done.returncode:
            raise Trouble(f"sonoledger {' '.join(words[:2])} failed: {_last_line(done.stderr)}")
        return done.stdout.strip()

    @contextmanager
    def serving(self, *options: str) -> Iterator["Running"]:
        """Start the service; it is stopped when the block is left, however it is left."""
        line = [sys.executable, "-m", "service.cli", "serve", "--port", str(self.port), *options]
        with self.log.open("wb") as log:
            process = subprocess.Popen(
                line, env=self.environment, stdout=log, stderr=subprocess.STDOUT, start_new_session=True
            )
            try:
                yield Running(self, process)
            finally:
                _stop(process)


@dataclass(frozen=True, slots=True)
class Running:
    """An instance that was started."""

    instance: Instance
    process: subprocess.Popen[bytes]

    def wait(self) -> None:
        """Return when it is ready to work; raises Trouble when it ends, or takes too long."""
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            if self.process.poll() is not None:
                raise Trouble(f"{self.instance.title} did not start: {_last_line(self.instance.log.read_text())}")
            if _ready(f"{self.instance.root}/readyz"):
                return
            time.sleep(0.05)
        raise Trouble(f"{self.instance.title} was not ready within {PATIENCE:.0f} seconds; see {self.instance.log}")

    def ask_to_stop(self) -> None:
        """Tell it to stop without waiting for it, so that several can stop at the same time."""
        self.process.terminate()

    def peak_megabytes(self) -> int | None:
        """The most memory it has held, in MB of a million bytes; None where the system does not say."""
        return peak_megabytes(self.process.pid)


def free_port() -> int:
    """A port of this machine that nobody listens on at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


def peak_megabytes(pid: int) -> int | None:
    """The most memory a process has held, in MB of a million bytes; None where the system does not say."""
    try:
        lines = Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines()
    except OSError:
        return None
    kibibytes = next((int(line.split()[1]) for line in lines if line.startswith("VmHWM:")), None)
    return None if kibibytes is None else kibibytes * 1024 // 1_000_000


def _ready(address: str) -> bool:
    try:
        return httpx.get(address, timeout=2, trust_env=False).status_code == 200
    except httpx.HTTPError:
        return False


def _stop(process: subprocess.Popen[bytes]) -> None:
    process.terminate()
    try:
        process.wait(timeout=10)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def _last_line(text: str) -> str:
    lines = [line for line in text.splitlines() if line.strip()]
    return lines[-1][:300] if lines else "it said nothing"
