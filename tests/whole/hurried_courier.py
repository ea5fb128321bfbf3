"""A courier whose clock runs faster, so that days of patience fit into a test; a module to be run by itself."""

import os
import sys
import time
from datetime import UTC, datetime, timedelta

from service import worker
from service.api import log
from service.courier.lines import Lines
from service.store import open_books


class HurriedLines(Lines):
    """Lines that tell how long a send can take by the hurried clock, as leases are counted by it."""

    def __init__(self, speed: float, timeout: float) -> None:
        super().__init__(total_seconds=timeout)
        self.speed = speed

    @property
    def seconds(self) -> float:
        """The longest that one send can take."""
        return super().seconds * self.speed


def hurried(began: float, speed: float) -> datetime:
    """The time now by a clock that showed the right time at `began` and runs `speed` times as fast."""
    real = time.time()
    return datetime.fromtimestamp(real, UTC) + timedelta(seconds=(real - began) * (speed - 1))


def main(began: float, speed: float, timeout: float) -> None:
    """Carry posts until SIGTERM; timeout: real seconds that a receiver may take."""
    stop = worker.stop_on_signals()
    log.to_stdout("INFO")
    books = open_books(os.environ["SONOLEDGER_DATABASE_URL"])
    try:
        clock = {"now": lambda: hurried(began, speed), "steady": lambda: time.monotonic() * speed}
        worker.run(books, stop=stop, pause=0.05, lines=HurriedLines(speed, timeout), **clock)
    finally:
        books.close()


if __name__ == "__main__":
    main(*map(float, sys.argv[1:]))
