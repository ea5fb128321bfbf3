"""The demo: two installations, an invented dog and an invented cat, and everything that happens to their orders."""

import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from decimal import Decimal
from pathlib import Path
from types import FrameType

import httpx

from service.basics.errors import Refusal
from service.demo import setting_up
from service.demo.chapters import telling
from service.demo.client import Client
from service.demo.figures import Figures
from service.demo.instances import Instance, free_port
from service.demo.narration import Narration
from service.demo.stage import Stage
from service.demo.trouble import Trouble


def play(folder: Path, *, keep: bool, as_json: bool) -> int:
    """Play the story and leave report, invoice and delivered Bundle in the folder; the exit code of the command.

    keep: stay up afterwards until Ctrl-C. as_json: end with one JSON object of figures on a line of its own."""
    try:
        with _ended_by_signals(), tempfile.TemporaryDirectory(prefix="sonoledger-demo-") as private, ExitStack() as up:
            _play(folder, Path(private), up, keep=keep, as_json=as_json)
    except KeyboardInterrupt:
        return _failed("stopped before the end of the story")
    except (Trouble, httpx.HTTPError, OSError, subprocess.SubprocessError) as trouble:
        return _failed(str(trouble) or type(trouble).__name__)
    except (Refusal, LookupError, StopIteration) as odd:
        return _failed(f"an answer was not what the story expects ({type(odd).__name__}: {odd})")
    return 0


def _play(folder: Path, private: Path, up: ExitStack, *, keep: bool, as_json: bool) -> None:
    began = time.monotonic()
    folder.mkdir(parents=True, exist_ok=True)
    tell, figures = Narration(), Figures()
    stage = _stage(tell, figures, folder=folder, private=private, up=up)
    kept = telling.tell_all(stage)
    figures.seconds = Decimal(str(round(time.monotonic() - began, 1)))
    telling.close(stage)
    if keep:
        telling.try_it(stage, kept)
    if as_json:
        print(figures.text(), flush=True)
    if keep:
        _until_told()


def _stage(tell: Narration, figures: Figures, *, folder: Path, private: Path, up: ExitStack) -> Stage:
    """Both installations up and set up; whatever was started is stopped by `up`."""
    service = Instance("the service", private / "service.sqlite", free_port(), folder / "service.log")
    archive = Instance("the record system", private / "records.sqlite", free_port(), folder / "record-system.log")
    telling.open_with(tell, service, archive)
    carried = setting_up.organisations(service, archive, private)
    running = (up.enter_context(service.serving("--with-courier")), up.enter_context(archive.serving()))
    for one in running:
        up.callback(one.ask_to_stop)
    tokens = setting_up.access(service, archive, private, carried=carried)
    for one in running:
        one.wait()
    records, scanner = Client(service.base, tokens.records), Client(service.base, tokens.scanner)
    own, clinic = Client(archive.base, tokens.archive), Client(service.base, tokens.clinic)
    for client in (records, scanner, own, clinic):
        up.callback(client.close)
    return Stage(
        tell=tell, folder=folder, figures=figures, service=service, records=records, scanner=scanner, archive=own,
        clinic=clinic, running=list(running), up=up,
    )  # fmt: skip


def _until_told() -> None:
    """Return at Ctrl-C or SIGTERM."""
    with suppress(KeyboardInterrupt):
        threading.Event().wait()


@contextmanager
def _ended_by_signals() -> Iterator[None]:
    """SIGTERM ends the story as Ctrl-C does, so that what was started is stopped."""

    def hear(number: int, frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, hear)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _failed(why: str) -> int:
    print(f"sonoledger: demo: {' '.join(why.split())}", file=sys.stderr, flush=True)
    return 1
