"""Log records into one JSON line each on stdout, with time and level first; only the classes of exceptions are told."""

import logging
import sys
from collections.abc import Mapping
from datetime import UTC, datetime

from service.fhir import exact

OURS = "sonoledger"


class Lines(logging.Formatter):
    """Our records are JSON already; words of others (the web server's) are wrapped."""

    def format(self, record: logging.LogRecord) -> str:
        """The record as one line."""
        time = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        head = {"time": time, "level": record.levelname, "logger": record.name}
        text = record.getMessage()
        told = text if record.name.startswith(OURS) and text.startswith("{") else said({"message": text})
        if record.exc_info and record.exc_info[0]:
            head["error"] = record.exc_info[0].__name__  # its words may hold what was sent
        return f"{said(head)[:-1]}, {told[1:]}"


def said(line: Mapping[str, object]) -> str:
    """One line of the log."""
    return exact.encode(line).decode()


def to_stdout(level: str) -> None:
    """Send our lines from this level on to stdout, and warnings of everyone else."""
    logging.logThreads = logging.logProcesses = logging.logMultiprocessing = False  # no line tells them
    out = logging.StreamHandler(sys.stdout)
    out.setFormatter(Lines())
    root = logging.getLogger()
    root.handlers[:] = [out]
    root.setLevel(logging.WARNING)
    logging.getLogger(OURS).setLevel(level)
