"""Programs written by others, installed once into the user's cache; skips with the reason, or fails where required."""

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import NoReturn

import pytest

CLIENTS = Path(__file__).parent / "clients"


def _home() -> Path:
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return cache / "sonoledger-outside"


def python(requirements: str = "requirements.txt") -> Path:
    """The Python that has what a requirements file names."""
    text = (CLIENTS / requirements).read_bytes()
    folder = _home() / f"py{sys.version_info[0]}{sys.version_info[1]}-{_mark(text)}"
    found = folder / "bin" / "python"
    pip = [found, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-r", CLIENTS / requirements]
    _once(folder, [sys.executable, "-m", "venv", "--clear", folder], pip, cwd=None)
    return found


def node() -> Path:
    """A folder with node_modules and our scripts beside them, where Node finds both."""
    if shutil.which("npm") is None:
        _missing("npm is not here")
    folder = _home() / f"node-{_mark((CLIENTS / 'package.json').read_bytes())}"
    folder.mkdir(parents=True, exist_ok=True)
    for path in CLIENTS.glob("*.*js*"):
        shutil.copy(path, folder)
    _once(folder, ["npm", "install", "--silent", "--no-audit", "--no-fund", "--ignore-scripts"], cwd=folder)
    return folder


def _mark(text: bytes) -> str:
    return hashlib.sha256(text).hexdigest()[:12]


def _once(folder: Path, *commands: list[str | Path], cwd: Path | None) -> None:
    if (folder / "installed").exists():
        return
    try:
        for command in commands:
            subprocess.run(command, check=True, capture_output=True, timeout=300, cwd=cwd)
    except (OSError, subprocess.SubprocessError) as fault:
        _missing(f"{commands[-1][0]} could not install what is needed: {type(fault).__name__}")
    (folder / "installed").touch()


def _missing(reason: str) -> NoReturn:
    if os.environ.get("REQUIRE_OUTSIDE"):
        pytest.fail(reason)
    pytest.skip(reason)
