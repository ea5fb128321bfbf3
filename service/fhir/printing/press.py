"""Data for the template into a PDF, made by a typesetter that starts when it is needed and ends when it is not."""

import atexit
import json
import logging
import struct
import subprocess
import sys
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from threading import Event, Lock, Timer
from typing import Any

from service.fhir.printing.glyphs import printable

SECONDS = 5.0  # for one document, the start of the process included
TEMPLATE = "template"  # the key of the data that names it
_LENGTH = struct.Struct(">I")
_log = logging.getLogger("sonoledger.print")
_HERE = Path(__file__).parent
_WRITING = _HERE.parent / "writing"
_TEMPLATES = (_WRITING / "report.typ", _WRITING / "invoice.typ")


class Press:
    """One typesetter at a time, shared by all threads; a call takes 5 to 20 ms once it runs, 0.2 s when it starts.

    A process of its own, because it takes 75 to 125 MB and so that no document can stop or hold up the service."""

    def __init__(self, *templates: Path, seconds: float = SECONDS) -> None:
        self._templates, self._seconds = templates or _TEMPLATES, seconds
        self._lock, self._late = Lock(), Event()
        self._process: subprocess.Popen[bytes] | None = None

    def __call__(self, data: Mapping[str, Any], *, template: str = "") -> bytes | None:
        """The PDF of the data, the same bytes for the same data; None when none can be made, and a log line says so.

        template: "report" or "invoice", the stem of its file; the first one without."""
        body = json.dumps({**printable(data), TEMPLATE: template or self._templates[0].stem}).encode()
        with self._lock:
            for tried in (1, 2):  # a typesetter may have ended since the last document
                try:
                    return self._exchange(body)
                except (OSError, struct.error, ValueError) as error:
                    last = tried == 2 or self._late.is_set()  # a second try may not take as long again
                    self._stop()
                    _log.log(logging.ERROR if last else logging.INFO, json.dumps({"print": type(error).__name__}))
                    if last:
                        break
        return None

    def close(self) -> None:
        """End the typesetter, if one runs."""
        with self._lock:
            self._stop()

    def _exchange(self, body: bytes) -> bytes | None:
        running = self._running()
        taken, given = running.stdin, running.stdout
        if taken is None or given is None:
            raise OSError("no pipes")
        self._late.clear()
        watch = Timer(self._seconds, self._cut, [running])
        watch.start()
        try:
            taken.write(_LENGTH.pack(len(body)) + body)
            taken.flush()
            kind = given.read(1)
            answer = given.read(_LENGTH.unpack(given.read(_LENGTH.size))[0])
        finally:
            watch.cancel()
        if kind == b"P":
            return answer
        _log.error(json.dumps({"print": answer.decode("ascii", "replace")}))
        return None

    def _cut(self, running: subprocess.Popen[bytes]) -> None:
        self._late.set()
        running.kill()

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._process.poll() is not None:
            self._stop()
            self._process = subprocess.Popen(
                [sys.executable, "-I", str(_HERE / "typesetter.py"), *map(str, self._templates)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                start_new_session=True,  # Ctrl-C is for the service: what it still answers may need a document
            )
        return self._process

    def _stop(self) -> None:
        running, self._process = self._process, None
        if running is None:
            return
        running.kill()
        running.wait()
        for pipe in (running.stdin, running.stdout):
            if pipe is not None:
                try:
                    pipe.close()
                except OSError:  # what was not sent any more
                    continue


@cache
def press() -> Press:
    """The one press of this process; its typesetter ends with it."""
    made = Press()
    atexit.register(made.close)
    return made
