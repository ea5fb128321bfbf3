"""The README's blocks of commands are run as they stand, on a port of their own."""

import os
import re
import socket
import subprocess
import sys
from pathlib import Path

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def block(name: str) -> str:
    found = re.search(rf"<!-- run: {name} -->\n```(?:bash|python)\n(.*?)\n```", README, re.DOTALL)
    assert found is not None
    return found[1]


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def run(script: str, folder: Path) -> str:
    """What the script prints; it runs in bash with the program of these tests at hand."""
    script = script.replace("8000", str(free_port()))
    environ = {k: v for k, v in os.environ.items() if not k.startswith("SONOLEDGER_")}
    environ["PATH"] = f"{Path(sys.executable).parent}:{environ['PATH']}"
    script = f"set -euo pipefail\ntrap 'kill $(jobs -p)' EXIT\n{script}\n"
    done = subprocess.run(
        ["bash", "-c", script], cwd=folder, env=environ, capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_first_ten_minutes_with_curl(tmp_path: Path) -> None:
    told = run(block("curl"), tmp_path)
    assert '"201 Created"' in told
    assert "View in long axis" in told
    assert '"code":"business-rule"' in told
    assert '"status":"final"' in told
    assert "Stopped early." in told


def test_the_first_ten_minutes_with_python(tmp_path: Path) -> None:
    serving = block("curl").partition("\n\n")[0]
    told = run(f"{serving}\nexport TOKEN\npython3 - <<'END'\n{block('python')}\nEND", tmp_path)
    assert '"value":38.40' in told
    assert "Left kidney - View in long axis" in told
    assert "Left kidney - Measurement: length" not in told
    assert "422 ['ServiceRequest.code'] Unknown order code" in told
