"""A service killed at its every K-th system call of one `$finish`: wholly final or not at all, and again it is.

SQLite's own tests enumerate crash points in the same way (sqlite.org/testing.html, 3.4); strace injects the signal."""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import httpx
import pytest

from service.fhir import exact
from service.joined import application
from service.store import SqlBooks, open_books
from tests.api.running import client, register, served
from tests.builders.counter import Counter
from tests.builders.instances import BILLING
from tests.builders.orders import parameters
from tests.builders.processes import ROOT
from tests.builders.survey import mappings

Json = dict[str, Any]
# writing and syncing, and waking who answers; asking and hearing: what lies before the commit, and what after it
CALLS = {"sqlite": ("pwrite64", "fdatasync", "write"), "postgresql": ("sendto", "recvfrom", "write")}
MOST = 12  # kills of a sweep: where there are more calls, it goes in even steps from the first to the last

pytestmark = [
    pytest.mark.full,
    pytest.mark.skipif(
        not shutil.which("strace") and not os.environ.get("REQUIRE_OUTSIDE"), reason="strace is not installed"
    ),
]


class Nursery:
    """Served processes of one database, each traced from the moment it is ready."""

    def __init__(self, database: str, folder: Path) -> None:
        self.database, self.folder, self.last = database, folder, 0
        command = [sys.executable, "-m", "tests.whole.nursery"]
        self.running = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=ROOT, text=True)

    def serve(self) -> tuple[int, str]:
        """(process, address) of a new one."""
        assert self.running.stdin
        assert self.running.stdout
        self.running.stdin.write(f"{self.database}\n")
        self.running.stdin.flush()
        pid, url = self.running.stdout.readline().split()
        self.last = int(pid)
        return self.last, url

    def close(self) -> None:
        with self.running:
            self.running.kill()
        with suppress(ProcessLookupError):
            if self.last:
                os.kill(self.last, signal.SIGKILL)


def traced(pid: int, *words: str) -> subprocess.Popen[bytes]:
    """strace on all threads of a process, once it holds them."""
    command = ["strace", "-f", "-qq", "-p", str(pid), *words]
    tracer = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    tasks = Path(f"/proc/{pid}/task")
    while not all("TracerPid:\t0" not in (task / "status").read_text() for task in tasks.iterdir()):
        assert tracer.poll() is None, "strace cannot trace here"
        time.sleep(0.005)
    return tracer


class Exams:
    """A practice whose exams are ready to be finished, one for each kill."""

    def __init__(self, books: SqlBooks, slug: str, token: str) -> None:
        self.books, self.slug, self.token = books, slug, token
        self.said = {**parameters(conclusion="No abnormality seen.", interpreter="Dr I. Reader")}

    def ready(self, count: int) -> list[str]:
        """So many exams in which nothing is owed."""
        app = application(self.books, mappings(), base="http://127.0.0.1/fhir")
        with served(app) as url, client(url, self.token) as http:
            http.headers["Content-Type"] = "application/fhir+json"
            return [Counter(self.books, self.slug, http).scanned() for _ in range(count)]

    def finish(self, url: str, exam: str) -> Json | None:
        """What finishing told; None when nobody answered."""
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/fhir+json"}
        with suppress(httpx.TransportError):
            answer = httpx.post(
                f"{url}/fhir/Task/{exam}/$finish", content=exact.encode(self.said), headers=headers, timeout=60
            )
            assert answer.status_code == 200, answer.text
            return dict(exact.decode(answer.content))
        return None

    def stands(self, exam: str) -> tuple[str, ...]:
        """What there is of an exam's end: its state, Task, report, invoice, charges and posts."""
        with self.books.view(self.slug) as view:
            found = view.exam(exam)
            assert found
            task = view.get("Task", exam)
            assert task
            report = view.get("DiagnosticReport", found.report) if found.report else None
            invoice = view.get("Invoice", found.invoice) if found.invoice else None
        posts = [post for post in self.books.deliveries(self.slug, limit=1000) if post.thread == exam]
        kept = (exact.decode(one.body)["status"] if one else "" for one in (task, report, invoice))
        return (found.state, *kept, str(len(posts)))


@pytest.fixture
def database(engine: str, database_url: Callable[[str], str]) -> str:
    return database_url(engine)


@pytest.fixture
def nursery(database: str, tmp_path: Path) -> Iterator[Nursery]:
    made = Nursery(database, tmp_path)
    yield made
    made.close()


@pytest.fixture
def exams(database: str) -> Iterator[Exams]:
    books = open_books(database)
    books.add_organization("practice-1", "Practice of a test", "practice", exact.encode(BILLING).decode())
    books.add_destination("practice-1", "records", url="https://records.example/fhir")
    yield Exams(books, "practice-1", register(books, "practice-1", kind="practice"))
    books.close()


def test_a_kill_at_any_system_call(engine: str, nursery: Nursery, exams: Exams, tmp_path: Path) -> None:
    """Each exam is as before or as after; whoever was answered finds it final; finishing again ends alike."""
    seen: set[tuple[str, ...]] = set()
    for call in CALLS[engine]:
        (first,) = exams.ready(1)
        untouched = exams.stands(first)
        made = count_of(call, nursery, exams, first, tmp_path)
        after = exams.stands(first)
        assert after != untouched
        places = steps(made)
        each = zip(places, exams.ready(len(places)), strict=True)
        found = [swept(call, at, nursery, exams, exam) for at, exam in each]
        sys.stdout.write(f"{engine} {call}: {made} calls, {len(found)} kills\n")
        assert {stood for stood, _ in found} <= {untouched, after}
        assert all(stood == after for stood, answered in found if answered)
        seen |= {stood for stood, _ in found}
    assert seen == {untouched, after}, "the kills must fall on both sides of the commit"
    unharmed(engine, nursery.database)


def steps(made: int) -> list[int]:
    """Up to MOST numbers from 1 to `made`, the first and the last among them."""
    return sorted({1 + n * (made - 1) // (MOST - 1) for n in range(MOST)})


def count_of(call: str, nursery: Nursery, exams: Exams, exam: str, folder: Path) -> int:
    """How often the busiest thread makes a call while it finishes an exam."""
    pid, url = nursery.serve()
    log = folder / call
    tracer = traced(pid, "-o", str(log), "-e", f"trace={call}")
    assert exams.finish(url, exam)
    os.kill(pid, signal.SIGKILL)
    tracer.wait()
    threads = [line.split()[0] for line in log.read_text().splitlines() if f"{call}(" in line]
    return max(threads.count(one) for one in set(threads))


def swept(call: str, at: int, nursery: Nursery, exams: Exams, exam: str) -> tuple[tuple[str, ...], bool]:
    """(how the exam stood after the kill, whether somebody was answered); then it is finished again."""
    pid, url = nursery.serve()
    tracer = traced(pid, "-o", os.devnull, "-e", f"trace={call}", "-e", f"inject={call}:signal=KILL:when={at}")
    told = exams.finish(url, exam)
    with suppress(ProcessLookupError):
        os.kill(pid, signal.SIGKILL)
    tracer.wait()
    pid, url = nursery.serve()
    stood = exams.stands(exam)
    again = exams.finish(url, exam)
    os.kill(pid, signal.SIGKILL)
    assert again
    assert told in (None, again)
    assert exams.stands(exam)[0] == "finished"
    return stood, told is not None


def unharmed(engine: str, database: str) -> None:
    """SQLite finds its file whole."""
    if engine == "sqlite":
        with sqlite3.connect(database.removeprefix("sqlite:///")) as file:
            assert file.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
