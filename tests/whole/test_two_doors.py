"""Two processes on one database: an assertion opens one of them once, a client shut out by one is out of both."""

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest

from service.store import open_books
from tests.builders.assertions import form, registered
from tests.builders.processes import Server

BASE = "http://sonoledger.example/fhir"
CALLERS, ROUNDS = 24, 5
FORGOTTEN = 5.5  # seconds after which a process asks again who bears a token


@pytest.mark.full
def test_an_assertion_is_good_once_in_all_processes(
    engine: str, database_url: Callable[[str], str], tmp_path: Path
) -> None:
    url = database_url(engine)
    environ = {"SONOLEDGER_DATABASE_URL": url, "SONOLEDGER_BASE_URL": BASE}
    doors = [Server(log=tmp_path / f"{n}.log", environ=environ) for n in range(2)]
    books = open_books(url)
    try:
        books.add_organization("records", "Records", "records")
        program = registered(books, "records", base=BASE)
        for door in doors:
            door.start()
        for door in doors:
            door.ready()
        token = _races(doors, [program.assertion() for _ in range(ROUNDS)])
        asked = {"Authorization": f"Bearer {token}"}
        assert [_status(door, asked) for door in doors] == [200, 200]
        (name,) = (one.name for one in books.clients("records"))
        assert books.switch_client("records", name, active=False)
        time.sleep(FORGOTTEN)
        assert [_status(door, asked) for door in doors] == [401, 401]
        assert not any(token in door.told() for door in doors)
    finally:
        for door in doors:
            door.kill()
        books.close()


def _races(doors: list[Server], assertions: list[str]) -> str:
    """All callers at once with each assertion, at both doors in turn: one gets a token, which is given back."""
    token = ""
    urls = [f"{doors[n % 2].url}/fhir/oauth/token" for n in range(CALLERS)]
    for used in assertions:
        with ThreadPoolExecutor(CALLERS) as callers:
            answers = list(callers.map(_asked, urls, [used] * CALLERS))
        assert sorted(one.status_code for one in answers) == [200] + [401] * (CALLERS - 1)
        token = next(str(one.json()["access_token"]) for one in answers if one.status_code == 200)
    return token


def _asked(url: str, assertion: str) -> httpx.Response:
    return httpx.post(url, data=form(assertion), trust_env=False, timeout=60)


def _status(door: Server, headers: dict[str, str]) -> int:
    return httpx.get(f"{door.url}/fhir/Patient", headers=headers, trust_env=False, timeout=30).status_code
