"""schemathesis (PyPI), with a fixed seed and a bounded time, finds nothing that openapi.json does not allow."""

import subprocess
from collections.abc import Mapping
from pathlib import Path

import pytest

from service.store import SqlBooks
from tests.api.running import register
from tests.outside import installed
from tests.outside.recorded import serving

pytestmark = pytest.mark.full

SECONDS = 80
SEED = 1
EXCLUDED: Mapping[str, str] = {
    "positive_data_acceptance": "OpenAPI describes the outline of a body; what R4 itself forbids is refused with 400",
}
"""Checks that are left out, each with its reason."""


def test_what_is_described_is_what_is_done(module_books: SqlBooks, tmp_path: Path) -> None:
    python = installed.python("schemathesis.txt")
    token = register(module_books, "an-invented-organisation")
    with serving(module_books) as (base, recorder):
        command = [
            *(python.with_name("schemathesis"), "run", f"{base.removesuffix('/fhir')}/openapi.json"),
            *("--phases", "examples,coverage,fuzzing,stateful", "--checks", "all"),
            *("--exclude-checks", ",".join(EXCLUDED)),
            *("--max-time", str(SECONDS), "--seed", str(SEED), "--generation-database", "none", "--no-color"),
            *("--header", f"Authorization: Bearer {token}"),
        ]
        done = subprocess.run(command, capture_output=True, text=True, timeout=SECONDS + 180, cwd=tmp_path)
        assert recorder.broken == []
        assert len(recorder.bodies) > 500, done.stdout[-2000:]
    assert done.returncode == 0, done.stdout[done.stdout.find("FAILURES") :][:6000]
