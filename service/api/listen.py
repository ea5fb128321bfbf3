"""The application on a port, until it is told to stop."""

import signal
from types import FrameType

import uvicorn
from fastapi import FastAPI

CONNECTIONS = 1000
"""Connections at once; further ones are told 503."""


def listen(app: FastAPI, *, host: str, port: int) -> None:
    """Serve until SIGTERM or SIGINT; what is being answered then has seven seconds to be finished.

    Then SystemExit is raised, for whoever called has things to close too."""
    for number in (signal.SIGTERM, signal.SIGINT):  # uvicorn gives the signal back once it is done: to this
        signal.signal(number, _leave)
    uvicorn.run(
        app,
        host=host,
        port=port,
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=False,
        ws="none",
        timeout_graceful_shutdown=7,  # who asks often kills after ten
        limit_concurrency=CONNECTIONS,
    )


def _leave(number: int, frame: FrameType | None) -> None:
    raise SystemExit(0)
