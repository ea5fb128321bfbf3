"""Two installations on an engine as processes, a practice's and a record system's; each test has its organisations."""

import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from service.catalogue.files import read_folder
from tests.builders.instances import BILLING, Instance
from tests.builders.tariff_rows import row
from tests.whole.telling import Desk, Json

Open = Callable[..., Desk]
FULL = {"text": "Abdominal ultrasound, full survey", "kind": "exam", "note": "invented demo price: replace it"}
OLD_PRICE = row("full", amount="185.00", **FULL)
NEW_PRICES = row("full", amount="179.00", valid_to="2026-06-30", **FULL)
NEW_PRICES += row("full", amount="185.00", valid_from="2026-07-01", **FULL)


class Worlds:
    """The pair of installations of each engine, started when the first test asks for it."""

    def __init__(self, database: Callable[[str], str], folder: Path) -> None:
        self.database, self.folder = database, folder
        self.pairs: dict[str, tuple[Instance, Instance]] = {}

    def of(self, engine: str) -> tuple[Instance, Instance]:
        """(the practice's with a courier of its own, the record system's)."""
        if engine not in self.pairs:
            ours = Instance(self.database(engine), self.folder / f"{engine}-ours", mappings=str(self.mappings()))
            theirs = Instance(self.database(engine), self.folder / f"{engine}-theirs")
            self.pairs[engine] = ours.serve().work(), theirs.serve()
        return self.pairs[engine]

    def mappings(self) -> Path:
        """The repository's mappings with a price of the full survey that rose on 2026-07-01."""
        folder = self.folder / "mappings"
        if not folder.exists():
            for name, text in read_folder().items():
                (folder / name).parent.mkdir(parents=True, exist_ok=True)
                (folder / name).write_text(text.replace(OLD_PRICE, NEW_PRICES), encoding="utf-8")
        return folder

    def close(self) -> None:
        """Stop all of them."""
        for pair in self.pairs.values():
            for instance in pair:
                instance.close()


@pytest.fixture(scope="session")
def worlds(database_url: Callable[[str], str]) -> Iterator[Worlds]:
    """The installations of this test session."""
    folder = Path(tempfile.mkdtemp(prefix="sl-whole-"))
    made = Worlds(database_url, folder)
    yield made
    made.close()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def open_desk(worlds: Worlds, engine: str) -> Iterator[Open]:
    """Call it for a new practice with a record system to send to; billing is the practice's settings file."""
    made: list[Desk] = []

    def open_(billing: Json | None = BILLING) -> Desk:
        ours, theirs = worlds.of(engine)
        slug, records = ours.organization("practice", billing=billing), theirs.organization("records")
        bearer = theirs.token(records)
        ours.send_to(slug, f"{theirs.url}/fhir", bearer=bearer)
        made.append(Desk(ours, slug, ours.client(ours.token(slug)), theirs.client(bearer)))
        return made[-1]

    yield open_
    for desk in made:
        desk.http.close()
        desk.records.close()


@pytest.fixture
def desk(open_desk: Open) -> Desk:
    """A practice with a billing profile, and a record system that it sends to."""
    return open_desk()
