"""The same questions to the same service with a thousand, ten thousand and a hundred thousand exams behind it."""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import httpx
import psycopg

from service.commands import token
from service.fhir import exact, uris
from service.store import open_books
from tests.bench import filling
from tests.bench.floor import settle
from tests.bench.servers import service

SLUG = "quillfold"
SIZES = (1_000, 10_000, 100_000)
MOST = 1.5  # the part that reads and indexed searches may grow by from the first size to the last
ROUNDS, WARM = 150, 20
_NEWEST = "&_sort=-date&_count=20"
_WITH = "&_revinclude=Observation:based-on&_revinclude=DiagnosticReport:based-on"
_CODE = f"code={uris.MEASURE}|"
_WHOSE = "Patient?_has:DiagnosticReport:subject:based-on=ServiceRequest/"
_ORDER = "ServiceRequest?identifier=https://records.example/order|O-"


@dataclass(frozen=True, slots=True)
class Asked:
    """One kind of question: its address, with places for values that differ each time; judged or only told."""

    what: str
    address: str
    judged: bool = True


ASKED = (
    Asked("GET Observation by id", "Observation/seen-{n}-{k}"),
    Asked("metadata", "metadata"),
    Asked("order by identifier", f"{_ORDER}{{n}}"),
    Asked("Observation by code, newest 20", f"Observation?{_CODE}{{measure}}{_NEWEST}"),
    Asked("the same, last changed 20", f"Observation?{_CODE}{{measure}}&_count=20"),
    Asked("Observations of an animal", "Observation?subject=Patient/animal-{animal}"),
    Asked("the same of one code", f"Observation?subject=Patient/animal-{{animal}}&{_CODE}{{measure}}{_NEWEST}"),
    Asked("everything of an animal", "Patient/animal-{animal}/$everything?_count=100"),
    Asked("the latest of each code", "Observation/$lastn?subject=Patient/animal-{animal}"),
    Asked("an order and what refers to it", f"ServiceRequest?_id=order-{{n}}{_WITH}"),
    Asked("report through its order", "DiagnosticReport?based-on.identifier=O-{n}"),
    Asked("animal by its report", f"{_WHOSE}order-{{n}}"),
    Asked("animal by its whole name", "Patient?name={name}"),
    Asked("open exams, newest 20", "Task?status=ready&_sort=-authored-on&_count=20"),
    Asked("charges to bill, newest 20", "ChargeItem?status=billable&_sort=-occurrence&_count=20"),
    Asked("reports of a day", "DiagnosticReport?date={day}&_count=50"),
    Asked("history of one", "Observation/seen-{n}-{k}/_history"),
    Asked("history of all, newest 20", "_history?_count=20"),
    Asked("animals by the beginning of a name", "Patient?name={word}&_count=20", judged=False),
    Asked("lengths above 90 mm, newest 20", f"Observation?code-value-quantity=length$gt90||mm{_NEWEST}", judged=False),
)


def _values(dice: random.Random, exams: int) -> dict[str, object]:
    """Values for the places of an address, of some exam that there is."""
    n, animal = dice.randrange(exams), dice.randrange(exams // filling.VISITS)
    return {
        "n": n,
        "k": dice.randrange(len(filling.MEASURES)),
        "animal": animal,
        "measure": dice.choice(filling.MEASURES),
        "name": filling.name_of(animal),
        "word": dice.choice(filling.NAMES),
        "day": filling.day_of(n),
    }


def run(engine: str, url: str, *, sizes: tuple[int, ...] = SIZES, tell: Callable[[str], None]) -> bool:
    """Fill, ask, tell a table; whether every judged question stayed within MOST."""
    books = open_books(url)
    books.add_organization(SLUG, "Quillfold", "records")
    bearer = token.create(books, SLUG, wanted=["system/*.cruds"], label="growth")
    columns: list[dict[str, float]] = []
    filled = 0
    for size in sizes:
        filling.fill(books, SLUG, first=filled, end=size)
        filled = size
        settle(url)
        columns.append(asked(url, bearer, size))
        tell(f"{engine}: {size:,} exams of {filling.EACH} resources asked about")
    books.close()
    return _told(engine, sizes, columns, tell)


def asked(url: str, bearer: str, size: int) -> dict[str, float]:
    """Question -> the seconds of a processor that one answer takes, of the service and the database together."""
    headers = {"Authorization": f"Bearer {bearer}", "Content-Type": "application/fhir+json"}
    with service(url) as (port, process):
        base = f"http://127.0.0.1:{port}/fhir/"
        with httpx.Client(base_url=base, headers=headers, trust_env=False, timeout=60) as client:
            found = {one.what: _each(_gets(client, one, size), url, process) for one in ASKED}
            return found | {"POST Observation": _each(_posts(client, size), url, process)}


def _gets(client: httpx.Client, question: Asked, size: int) -> Iterator[object]:
    dice = random.Random(size)
    while True:
        yield client.get(question.address.format(**_values(dice, size))).raise_for_status()


def _posts(client: httpx.Client, size: int) -> Iterator[object]:
    body = next(one for one in filling.resources(size - 1) if one["resourceType"] == "Observation")
    text = exact.encode({name: value for name, value in body.items() if name != "id"})
    while True:
        yield client.post("Observation", content=text).raise_for_status()


def _each(answers: Iterator[object], url: str, process: int) -> float:
    """What one of ROUNDS answers takes; the first WARM do not count. A clock on the wall would tell of other work."""
    for _ in range(WARM):
        next(answers)
    working = [process, *_backends(url)]
    began = sum(map(_worked, working))
    for _ in range(ROUNDS):
        next(answers)
    return (sum(map(_worked, working)) - began) / ROUNDS / 1e9


def _backends(url: str) -> list[int]:
    """The processes of PostgreSQL that serve this database, where it runs beside us; none of SQLite."""
    if url.startswith("sqlite"):
        return []
    with psycopg.connect(url) as connection:
        mine = "SELECT pid FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"
        return [pid for (pid,) in connection.execute(mine) if Path(f"/proc/{pid}").exists()]


def _worked(process: int) -> int:
    """Nanoseconds that a process has spent on a processor, all its threads together."""
    threads = Path(f"/proc/{process}/task").glob("*/schedstat")
    return sum(int(one.read_text().split()[0]) for one in threads)


def _told(engine: str, sizes: tuple[int, ...], columns: list[dict[str, float]], tell: Callable[[str], None]) -> bool:
    judged = {one.what for one in ASKED if one.judged}
    tell("".join([f"{engine}; ms of a processor".ljust(40), *(f"{size:>10,}" for size in sizes), "    growth"]))
    sound = True
    for what in columns[0]:
        times = [column[what] * 1000 for column in columns]
        grown = times[-1] / times[0]
        missed = what in judged and grown > MOST
        sound = sound and not missed
        mark = " MISSED" if missed else "" if what in judged else " (told only)"
        tell("".join([what.ljust(40), *(f"{time:>10.2f}" for time in times), f"{grown:>10.2f}{mark}"]))
    return sound
