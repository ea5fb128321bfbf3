"""Everything is loaded once; then each line on stdin, a database's URL, becomes a served process of its own."""

import os
import signal
import sys

from service.fhir import validate
from service.joined import application
from service.store import open_books
from tests.api.running import served
from tests.builders.survey import mappings

BASE = "http://127.0.0.1/fhir"


def main() -> None:
    """Tell the process and address of each; it ends when it is killed."""
    validate.prepare()
    mappings()
    for line in sys.stdin:
        if os.fork() == 0:
            serve(line.strip())
            os._exit(0)
        os.wait()  # one at a time


def serve(database: str) -> None:
    """Serve a database until the process is killed."""
    with served(application(open_books(database), mappings(), base=BASE)) as url:
        sys.stdout.write(f"{os.getpid()} {url}\n")
        sys.stdout.flush()
        signal.pause()


if __name__ == "__main__":
    main()
