"""A courier whose leases are short, so that one that sleeps through its lease fits into a test; run by itself."""

import os
import sys

from service import worker
from service.api import log
from service.store import open_books


def main(name: str, seconds: int) -> None:
    """Carry posts until SIGTERM; seconds: of a lease, three times what a receiver may take."""
    stop = worker.stop_on_signals()
    log.to_stdout("INFO")
    books = open_books(os.environ["SONOLEDGER_DATABASE_URL"])
    try:
        worker.run(books, stop=stop, pause=0.05, timeout=seconds / 3, lease=seconds, worker=name)
    finally:
        books.close()


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
