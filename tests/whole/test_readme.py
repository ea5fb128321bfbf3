"""The README's blocks of commands are run as they stand, on a port of their own."""

import os
import re
import socket
import subprocess
import sys
from pathlib import Path

import pytest

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def block(name: str) -> str:
    found = re.search(rf"<!-- run: {name} -->\n```bash\n(.*?)\n```", README, re.DOTALL)
    assert found is not None
    return found[1]


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@pytest.mark.parametrize("name", ["curl"])
def test_the_first_ten_minutes(name: str, tmp_path: Path) -> None:
    script = block(name).replace("8000", str(free_port()))
    script = f"set -euo pipefail\ntrap 'kill $(jobs -p)' EXIT\n{script}\n"
    environ = {k: v for k, v in os.environ.items() if not k.startswith("SONOLEDGER_")}
    environ["PATH"] = f"{Path(sys.executable).parent}:{environ['PATH']}"
    done = subprocess.run(
        ["bash", "-c", script], cwd=tmp_path, env=environ, capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    assert '"201 Created"' in done.stdout
    assert "View in long axis" in done.stdout
    assert '"code":"business-rule"' in done.stdout
    assert '"status":"final"' in done.stdout
    assert "Stopped early." in done.stdout
