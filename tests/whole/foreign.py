"""A record system written by others, installed from PyPI into an environment of its own and run on loopback."""

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest

PACKAGE = "sekmet-fhir==0.1.1"
PLAIN = ("fhirstarter==4.2.0", "uvicorn==0.54.0")
TOKEN = "plainly-invented-token"


def _required() -> bool:
    return any(os.environ.get(name) for name in ("REQUIRE_FOREIGN", "REQUIRE_OUTSIDE"))


def installed(*packages: str) -> Path:
    """The commands of an environment installed once into the user's cache; skips with the reason, or fails."""
    home = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "sonoledger-tests"
    folder = home / f"{packages[0].replace('==', '-')}-py{sys.version_info[0]}{sys.version_info[1]}"
    finished = folder / "installed"
    if not finished.exists():
        try:
            subprocess.run(
                [sys.executable, "-m", "venv", "--clear", folder], check=True, capture_output=True, timeout=120
            )
            install = [folder / "bin" / "python", "-m", "pip", "install", "--quiet", *packages]
            subprocess.run(install, check=True, capture_output=True, timeout=600)
        except (OSError, subprocess.SubprocessError) as fault:
            reason = f"{packages[0]} cannot be installed here: {type(fault).__name__}"
            (pytest.fail if _required() else pytest.skip)(reason)
        finished.touch()
    return folder / "bin"


@dataclass(frozen=True)
class Foreign:
    """The running server: its FHIR base and the header it asks for."""

    url: str
    authorization: str = f"Bearer {TOKEN}"

    def get(self, path: str) -> dict[str, Any]:
        """What it answers to a read or search."""
        return self._json("GET", path, None)

    def post(self, resource: dict[str, Any]) -> dict[str, Any]:
        """The resource as it stored it."""
        return self._json("POST", resource["resourceType"], resource)

    def found(self, type_: str, system: str, value: str) -> list[dict[str, Any]]:
        """The resources of a type that bear an identifier."""
        page = self.get(f"{type_}?identifier={system}|{value}")
        return [entry["resource"] for entry in page.get("entry", [])]

    def count(self, type_: str) -> int:
        """How many resources of a type it has."""
        return int(self.get(f"{type_}?_summary=count")["total"])

    def update(self, resource: dict[str, Any]) -> None:
        """Replace a resource by one with the same id."""
        name = f"{resource['resourceType']}/{resource['id']}"
        headers = {"Authorization": self.authorization, "Content-Type": "application/fhir+json"}
        httpx.put(f"{self.url}/{name}", json=resource, headers=headers, trust_env=False).raise_for_status()

    def _json(self, method: str, path: str, content: dict[str, Any] | None) -> dict[str, Any]:
        headers = {"Authorization": self.authorization, "Content-Type": "application/fhir+json"}
        answer = httpx.request(method, f"{self.url}/{path}", json=content, headers=headers, trust_env=False)
        answer.raise_for_status()
        if method == "POST" and not answer.content:  # one that answers with a Location and nothing else
            return self._json("GET", answer.headers["Location"].lstrip("/"), None)
        return dict(answer.json())


@contextmanager
def running(folder: Path) -> Iterator[Foreign]:
    """The server on a free port with an empty database in folder, until the end of the with."""
    command = installed(PACKAGE) / "sekmet"
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    foreign = Foreign(f"http://127.0.0.1:{port}/fhir")
    settings = {
        "base_url": foreign.url,
        "host": "127.0.0.1",
        "port": port,
        "data_dir": str(folder),
        "simulator": {"enabled": False},
        "server_auth": {"types": ["bearer"], "tokens": [TOKEN], "enforce_scopes": False},
    }
    (folder / "settings.yaml").write_text(json.dumps(settings))  # JSON is YAML
    with (folder / "log").open("wb") as log:
        server = subprocess.Popen(
            [command, "serve", "--config", folder / "settings.yaml"], cwd=folder, stdout=log, stderr=subprocess.STDOUT
        )
        try:
            _wait(foreign, server)
            yield foreign
        finally:
            server.terminate()
            server.wait(10)


@contextmanager
def running_plain(folder: Path) -> Iterator[Foreign]:
    """A server that knows neither transactions nor conditions, on a free port, until the end of the with."""
    python = installed(*PLAIN) / "python"
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    with (folder / "log").open("wb") as log:
        words = [python, Path(__file__).with_name("plain_records.py"), str(port)]
        own = {**os.environ, "FHIR_SEQUENCE": "R4B"}  # it has no R4; what is sent is the same in both
        server = subprocess.Popen(words, cwd=folder, stdout=log, stderr=subprocess.STDOUT, env=own)
        foreign = Foreign(f"http://127.0.0.1:{port}", authorization="")
        try:
            _wait(foreign, server)
            yield foreign
        finally:
            server.terminate()
            server.wait(10)


def _wait(foreign: Foreign, server: "subprocess.Popen[bytes]") -> None:
    for _ in range(300):
        assert server.poll() is None, "the foreign server ended by itself; see its log"
        try:
            httpx.get(f"{foreign.url}/metadata", trust_env=False).raise_for_status()
        except httpx.HTTPError:
            time.sleep(0.1)
        else:
            return
    raise AssertionError("the foreign server does not answer")
