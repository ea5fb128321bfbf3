"""The service's clock jumps while it works: versions rise all the same, and what was done stays done once."""

import json
from collections.abc import Callable, Iterator

import httpx
import pytest

from service.fhir import exact
from service.joined import application
from service.store import SqlBooks, open_books
from tests.api.running import client, register, served
from tests.builders.bills import Clock
from tests.builders.counter import Counter
from tests.builders.instances import BILLING
from tests.builders.survey import mappings

pytestmark = pytest.mark.full

NOON = "2026-11-25T12:00:00Z"
JUMPS = (NOON, "2026-11-25T11:00:00Z", "2026-11-27T12:00:00Z", "2020-01-01T00:00:00Z", "2026-11-25T12:00:00.001Z")
NUDGES = (NOON, "2026-11-25T11:58:30Z", "2026-11-25T12:00:00.001Z", "2026-11-25T11:59:00Z")


@pytest.fixture
def clock() -> Clock:
    return Clock(NOON)


@pytest.fixture
def books(engine: str, database_url: Callable[[str], str], clock: Clock) -> Iterator[SqlBooks]:
    opened = open_books(database_url(engine), clock=clock)
    opened.add_organization("practice-1", "Practice of a test", "practice", json.dumps(BILLING))
    opened.add_destination("practice-1", "records", url="https://records.example/fhir")
    yield opened
    opened.close()


@pytest.fixture
def http(books: SqlBooks) -> Iterator[httpx.Client]:
    app = application(books, mappings(), base="http://127.0.0.1/fhir")
    with served(app) as url, client(url, register(books, "practice-1", kind="practice")) as opened:
        opened.headers["Content-Type"] = "application/fhir+json"
        yield opened


def test_versions_rise_and_pages_are_whole(http: httpx.Client, clock: Clock) -> None:
    flag = {"resourceType": "Flag", "status": "active", "code": {"text": "x"}, "subject": {"display": "x"}}
    made = http.post("/fhir/Flag", json=flag).json()
    for number, moment in enumerate(JUMPS, start=2):
        clock.set(moment)
        match = {"If-Match": f'W/"{number - 1}"'}
        changed = http.put(f"/fhir/Flag/{made['id']}", json=made | {"code": {"text": str(number)}}, headers=match)
        assert changed.headers["etag"] == f'W/"{number}"'
    assert http.put(f"/fhir/Flag/{made['id']}", json=made, headers={"If-Match": 'W/"1"'}).status_code == 412
    history = http.get(f"/fhir/Flag/{made['id']}/_history").json()["entry"]
    versions = {one["resource"]["meta"]["versionId"]: one["resource"]["code"]["text"] for one in history}
    assert versions == {"1": "x", **{str(n): str(n) for n in range(2, 7)}}
    assert http.get(f"/fhir/Flag/{made['id']}").json()["code"]["text"] == "6"


def test_pages_that_were_begun_before_a_jump_miss_and_repeat_nothing(http: httpx.Client, clock: Clock) -> None:
    """Backwards as far as store/moment.py reckons with (OVERLAP), forwards at will."""
    made = set()
    for moment in NUDGES:
        clock.set(moment)
        flag = {"resourceType": "Flag", "status": "active", "code": {"text": moment}, "subject": {"display": "x"}}
        made.add(http.post("/fhir/Flag", json=flag).json()["id"])
    seen, link = list[str](), "/fhir/Flag?_count=1"
    for moment in ("2026-11-27T12:00:00Z", *NUDGES, NOON):
        page = http.get(link).json()
        seen += [one["resource"]["id"] for one in page.get("entry", [])]
        clock.set(moment)
        late = {"resourceType": "Flag", "status": "active", "code": {"text": "late"}, "subject": {"display": "x"}}
        assert http.post("/fhir/Flag", json=late).status_code == 201
        link = next((one["url"] for one in page["link"] if one["relation"] == "next"), "").removeprefix(
            "http://127.0.0.1"
        )
        if not link:
            break
    assert sorted(seen) == sorted(made)


def test_an_exam_is_finished_billed_and_promised_once(http: httpx.Client, books: SqlBooks, clock: Clock) -> None:
    desk = Counter(books, "practice-1", http)
    exam = desk.scanned(at="2026-11-25T09:30:00Z")
    told = []
    for moment in JUMPS:
        clock.set(moment)
        told.append(desk.finish(exam))
    assert all(one == told[0] for one in told)
    assert len([one for one in books.deliveries("practice-1") if one.event == "finished"]) == 1
    invoice = exact.decode(http.get(f"/fhir/{told[0]['invoice'][0]}").content)
    assert invoice["meta"]["versionId"] == "1"
