"""Pages over two servers while others write: whoever matched at the first page comes exactly once, and nobody else."""

import asyncio
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from service.fhir import exact
from tests.builders.instances import Instance
from tests.whole.conftest import Worlds
from tests.whole.telling import Json, decoded, taken

pytestmark = pytest.mark.sqlite_first

ANIMALS, PAGE, WRITERS = 60, 7, 6
SORTS = ["-_lastUpdated", *(pytest.param(one, marks=pytest.mark.full) for one in ("", "birthdate", "name,_id"))]


@pytest.fixture(scope="module")
def pair(engine: str, worlds: Worlds, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Instance]:
    """Two servers over one database."""
    folder: Path = tmp_path_factory.mktemp("pair")
    instance = Instance(worlds.database(engine), folder).serve(2)
    yield instance
    instance.close()


def _animal(n: int) -> Json:
    return {"resourceType": "Patient", "name": [{"text": f"Bramble {n:03}"}], "birthDate": f"20{n % 20:02}-01-01"}


@pytest.mark.parametrize("sort", SORTS)
def test_each_match_of_the_first_page_comes_once(pair: Instance, sort: str) -> None:
    bearer = pair.token(pair.organization("records"))
    with pair.client(bearer) as client:
        ids = [decoded(taken(client.post("Patient", content=exact.encode(_animal(n)))))["id"] for n in range(ANIMALS)]
    found, total, wrote = asyncio.run(_story(pair, bearer, ids, sort=sort))
    assert sorted(found) == sorted(set(found))
    assert set(ids) <= set(found)
    assert len(found) == total
    assert wrote > WRITERS, "somebody wrote between the pages"


async def _story(pair: Instance, bearer: str, ids: list[str], *, sort: str) -> tuple[list[str], int, int]:
    """(ids of all pages, the total they told, how many changes were made meanwhile)."""
    headers = {"Authorization": f"Bearer {bearer}", "Content-Type": "application/fhir+json"}
    bases = [f"{server.url}/fhir/" for server in pair.servers]
    clients = [httpx.AsyncClient(base_url=base, headers=headers, timeout=60, trust_env=False) for base in bases]
    done = asyncio.Event()
    writers = [asyncio.create_task(_write(clients[n % 2], ids, n, done)) for n in range(WRITERS)]
    try:
        query = {"_count": str(PAGE), "_total": "accurate", **({"_sort": sort} if sort else {})}
        page = (await clients[0].get("Patient", params=query)).raise_for_status().json()
        found, total = _ids(page), int(page["total"])
        while following := [link["url"] for link in page["link"] if link["relation"] == "next"]:
            path = following[0].partition("/fhir/")[2]
            page = (await clients[len(found) % 2].get(path)).raise_for_status().json()  # either server goes on
            found += _ids(page)
            assert page["total"] == total
    finally:
        done.set()
        wrote = sum(await asyncio.gather(*writers))
        for client in clients:
            await client.aclose()
    return found, total, wrote


async def _write(client: httpx.AsyncClient, ids: list[str], turn: int, done: asyncio.Event) -> int:
    """Change animals so that they stand elsewhere in every order, and add others; how often it was done."""
    wrote = 0
    while not done.is_set():
        id_ = ids[(turn * 11 + wrote * 7) % len(ids)]
        moved = _animal(turn + wrote * 13) | {"id": id_}
        answer = await client.put(f"Patient/{id_}", content=exact.encode(moved))
        assert answer.status_code in (200, 409, 503), answer.text
        taken(await client.post("Patient", content=exact.encode(_animal(500 + turn))))
        wrote += 1
    return wrote


def _ids(page: Json) -> list[str]:
    return [entry["resource"]["id"] for entry in page.get("entry", []) if entry["search"]["mode"] == "match"]
