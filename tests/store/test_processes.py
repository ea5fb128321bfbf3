"""Several processes on one database, and processes that die: nothing promised is lost, nothing is half done."""

import subprocess
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable

import pytest

from service.store import open_books


def _start(url: str, *, name: str, rounds: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.store.writer", url, "practice", name, str(rounds)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


@pytest.mark.sqlite_first
def test_processes_share_identities(engine: str, database_url: Callable[[str], str]) -> None:
    url = database_url(engine)
    running = [_start(url, name="same", rounds=60) for _ in range(4)]
    heard: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for process in running:
        said, _ = process.communicate(timeout=60)
        assert process.returncode == 0
        for outcome, n, id_ in map(str.split, said.splitlines()):
            heard[n].append((outcome, id_))
    assert len(heard) == 60
    for answers in heard.values():
        assert Counter(outcome for outcome, _ in answers) == {"won": 1, "lost": 3}
        assert len({id_ for _, id_ in answers}) == 1


@pytest.mark.parametrize(
    "seconds", [pytest.param(0.05, marks=pytest.mark.full), 0.2, pytest.param(0.45, marks=pytest.mark.full)]
)
def test_a_killed_process_loses_nothing_it_promised(
    engine: str, database_url: Callable[[str], str], seconds: float
) -> None:
    url = database_url(engine)
    process = _start(url, name="own", rounds=100_000)
    assert process.stdout is not None
    first = process.stdout.readline()
    time.sleep(seconds)
    process.kill()
    said = first + process.stdout.read()
    process.stdout.close()
    assert process.wait(30) < 0
    whole = said.split("\n")[:-1]  # the kill may cut the last line short: that was not told
    promised = [line.split()[2] for line in whole if line.count(" ") == 2]
    books = open_books(url)
    with books.begin("practice") as work:
        kept = [v.id for v in work.history("Patient", count=100_000).matches]
        assert set(promised) <= set(kept)
        assert 0 <= len(kept) - len(promised) <= 1  # at most one was committed and not yet told
        assert len(work.history("Observation", count=100_000).matches) == len(kept)
        assert work.next_invoice_number(2026) == len(kept) + 1
    books.close()
