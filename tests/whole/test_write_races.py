"""Writers of all kinds at once over two processes: nothing is lost, nothing is seen in part."""

import asyncio
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from service.fhir import exact
from tests.builders import orders
from tests.builders.instances import BILLING, Instance
from tests.whole.conftest import Worlds
from tests.whole.telling import Json, decoded, found, taken
from tests.whole.test_races import race

pytestmark = pytest.mark.sqlite_first

CALLERS = 20


@pytest.fixture(scope="module")
def pair(engine: str, worlds: Worlds, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Instance]:
    """Two servers over one database."""
    folder: Path = tmp_path_factory.mktemp("pair")
    instance = Instance(worlds.database(engine), folder).serve(2)
    yield instance
    instance.close()


def patient(client: httpx.Client, **more: object) -> Json:
    return decoded(taken(client.post("Patient", content=exact.encode({"resourceType": "Patient", **more}))))


@pytest.mark.parametrize("way", ["PUT", pytest.param("PATCH", marks=pytest.mark.full)])
def test_u7_twenty_updates_make_consecutive_versions(pair: Instance, way: str) -> None:
    """Without If-Match: each is a version of its own, or 409; never two equal version ids."""
    bearer = pair.token(pair.organization("records"))
    with pair.client(bearer) as client:
        dog = patient(client)
        operation = [{"op": "add", "path": "/active", "value": True}]

        async def call(other: httpx.AsyncClient) -> httpx.Response:
            if way == "PUT":
                return await other.put(f"Patient/{dog['id']}", content=exact.encode(dog))
            headers = {"Content-Type": "application/json-patch+json"}
            return await other.patch(f"Patient/{dog['id']}", content=exact.encode(operation), headers=headers)

        answers = race(pair, bearer, call, callers=CALLERS)
        assert {a.status_code for a in answers} <= {200, 409}
        made = sorted(int(a.headers["etag"][3:-1]) for a in answers if a.status_code == 200)
        assert made == list(range(2, len(made) + 2))
        history = decoded(client.get(f"Patient/{dog['id']}/_history?_count=100"))
        assert history["total"] == len(made) + 1


def test_of_twenty_deletions_one_is_kept(pair: Instance) -> None:
    bearer = pair.token(pair.organization("records"))
    with pair.client(bearer) as client:
        dog = patient(client)

        async def call(other: httpx.AsyncClient) -> httpx.Response:
            return await other.delete(f"Patient/{dog['id']}")

        answers = race(pair, bearer, call, callers=CALLERS)
        assert {a.status_code for a in answers} <= {204, 409}
        assert decoded(client.get(f"Patient/{dog['id']}/_history"))["total"] == 2


def test_no_exam_is_opened_on_an_animal_that_is_deleted(pair: Instance) -> None:
    """Orders and the deletion of their animal at the same time: either there is an exam, or there is no animal."""
    bearer = pair.token(pair.organization("practice", billing=BILLING))
    outcomes: Counter[str] = Counter()
    with pair.client(bearer) as client:
        for _ in range(8):
            dog = decoded(taken(client.post("Patient", content=exact.encode(orders.patient()))))
            turn = iter(range(1000))

            async def call(other: httpx.AsyncClient) -> httpx.Response:
                if next(turn) % 2:  # noqa: B023
                    return await other.delete(f"Patient/{dog['id']}")  # noqa: B023
                order = orders.request(f"Patient/{dog['id']}", service="fluid-check")  # noqa: B023
                return await other.post("ServiceRequest", content=exact.encode(order))

            answers = race(pair, bearer, call, callers=8)
            assert {a.status_code for a in answers} <= {201, 204, 409, 422, 503}, [a.text for a in answers]
            exams = found(client, "Task", subject=f"Patient/{dog['id']}")
            deleted = client.get(f"Patient/{dog['id']}").status_code == 410
            assert deleted is (not exams)
            outcomes["deleted" if deleted else "examined"] += 1
    assert sum(outcomes.values()) == 8


def test_a_reader_never_sees_a_part_of_a_transaction(pair: Instance) -> None:
    bearer = pair.token(pair.organization("records"))
    size, rounds = 7, 6

    async def story() -> list[int]:
        headers = {"Authorization": f"Bearer {bearer}", "Content-Type": "application/fhir+json"}
        seen: list[int] = []
        async with (
            httpx.AsyncClient(base_url=f"{pair.servers[0].url}/fhir/", headers=headers, timeout=60) as writer,
            httpx.AsyncClient(base_url=f"{pair.servers[1].url}/fhir/", headers=headers, timeout=60) as reader,
        ):
            done = asyncio.Event()

            async def look() -> None:
                while not done.is_set():
                    seen.append((await reader.get("Location?_summary=count")).json()["total"])

            looking = asyncio.create_task(look())
            entries = [orders.entry({"resourceType": "Location", "status": "active"}) for _ in range(size)]
            for _ in range(rounds):
                taken(await writer.post("", content=exact.encode(orders.transaction(entries))))
            done.set()
            await looking
        return seen

    seen = asyncio.run(story())
    assert seen
    assert {total % size for total in seen} == {0}


def test_transactions_that_cross_end_well(pair: Instance) -> None:
    """Writers replace the same resources in opposite orders: none hangs, and no 5xx but a 503 that says when."""
    bearer = pair.token(pair.organization("records"))
    with pair.client(bearer) as client:
        dogs = [patient(client) for _ in range(6)]
        turn = iter(range(1000))

        async def call(other: httpx.AsyncClient) -> httpx.Response:
            mine = dogs if next(turn) % 2 else dogs[::-1]
            entries = [{"resource": d, "request": {"method": "PUT", "url": f"Patient/{d['id']}"}} for d in mine]
            return await other.post("", content=exact.encode(orders.transaction(entries)))

        answers = race(pair, bearer, call, callers=CALLERS)
        statuses = Counter(a.status_code for a in answers)
        assert set(statuses) <= {200, 409, 503}, statuses
        assert all("retry-after" in a.headers for a in answers if a.status_code == 503)
        versions = {int(decoded(client.get(f"Patient/{d['id']}"))["meta"]["versionId"]) for d in dogs}
        assert versions == {statuses[200] + 1}
