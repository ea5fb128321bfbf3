"""The service as a process whose clock is a file that a test writes; a module to be run by itself."""

import os
import sys
from datetime import UTC, datetime
from pathlib import Path

from service.api import log
from service.api.listen import listen
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.fhir import validate
from service.joined import application
from service.settings import Settings
from service.store import open_books


def main(clock: str, port: int) -> None:
    """Answer until SIGTERM; every unit of work takes place at the instant that the file names."""
    settings = Settings.read(os.environ)
    log.to_stdout(settings.log_level)
    validate.prepare()
    books = open_books(settings.database_url, clock=lambda: showing(Path(clock)))
    try:
        app = application(books, load(read_folder()), base=settings.base_url, docs=False)
        listen(app, host="127.0.0.1", port=port)
    finally:
        books.close()


def showing(clock: Path) -> datetime:
    """The instant that a clock file names."""
    return datetime.fromisoformat(clock.read_text(encoding="ascii")).astimezone(UTC)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
