"""Subscriptions beside real exams: two servers, two couriers of which one is killed, many exams finished at once."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from time import monotonic, sleep
from typing import Any

import pytest

from service.fhir import uris
from tests.builders import orders
from tests.builders.instances import BILLING, Instance
from tests.builders.subscriber import Subscriber, subscriber
from tests.whole.telling import Desk

Json = dict[str, Any]
TOPIC = "https://sonoledger.example/fhir/SubscriptionTopic/"
CONTENT = "http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-payload-content"
EXAMS = 8
pytestmark = pytest.mark.full


def wanted(url: str, topic: str) -> Json:
    return {
        "resourceType": "Subscription",
        "status": "requested",
        "reason": "A test",
        "criteria": TOPIC + topic,
        "channel": {
            "type": "rest-hook",
            "endpoint": url,
            "payload": "application/fhir+json",
            "_payload": {"extension": [{"url": CONTENT, "valueCode": "id-only"}]},
        },
    }


def until(fits: Any, *, within: float = 60) -> None:
    end = monotonic() + within
    while not fits():
        assert monotonic() < end, "not in time"
        sleep(0.1)


def told(hook: Subscriber, path: str) -> list[tuple[int, str]]:
    """(number, focus) of each event that came to a path, in order, repeats left out."""
    found: dict[int, str] = {}
    for one, parameters in zip([t for t in hook.told if t.body], hook.parameters(), strict=True):
        if one.path == path:
            for event in parameters.get("notification-event", []):
                found.setdefault(int(event["event-number"]), event["focus"]["reference"])
    return list(found.items())


def test_every_event_of_every_exam_is_told_in_order(engine: str, database_url: Any, tmp_path: Path) -> None:
    ours = Instance(database_url(engine), tmp_path / "ours", private_hosts="127.0.0.1")
    with subscriber() as hook:
        try:
            ours.serve(2).work().work()
            slug = ours.organization("practice", billing=BILLING)
            token = ours.token(slug)
            with ours.client(token) as http, ours.client(token, server=1) as other:
                desks = [Desk(ours, slug, client, http) for client in (http, other)]
                for topic in ("exam", "report", "invoice"):
                    made = http.post("Subscription", json=wanted(f"{hook.url}/{topic}", topic))
                    assert made.status_code == 201, made.text
                until(lambda: http.get("Subscription?status=active&_summary=count").json()["total"] == 3)
                site = [orders.concept(uris.STRUCTURE, "gallbladder")]
                exams = [desks[n % 2].place(orders.bundle(service="limited", bodySite=site)) for n in range(EXAMS)]
                for n, exam in enumerate(exams):
                    desks[n % 2].survey(exam)
                hook.statuses = [503, 500, 429]
                ours.couriers[0].kill()
                with ThreadPoolExecutor(EXAMS) as pool:
                    done = list(pool.map(lambda n: desks[n % 2].finish(exams[n]), range(EXAMS)))
                assert len(done) == EXAMS
                until(lambda: not ours.books.deliveries(slug, state="waiting", limit=1), within=120)
                status = http.get("Subscription/$status").json()["entry"]
        finally:
            ours.close()
    assert ours.couriers[1].told().count("attempt-failed") == 0
    counted = {}
    for entry in status:
        values = {p["name"]: next(v for k, v in p.items() if k != "name") for p in entry["resource"]["parameter"]}
        counted[values["topic"].removeprefix(TOPIC)] = int(values["events-since-subscription-start"])
    for topic, count in counted.items():
        found = told(hook, f"/hook/{topic}")
        assert [number for number, _ in found] == list(range(1, count + 1)), topic
    assert counted["report"] == EXAMS
    assert counted["invoice"] == EXAMS
    assert len({focus for _, focus in told(hook, "/hook/report")}) == EXAMS
    assert {focus.rpartition("/")[2] for _, focus in told(hook, "/hook/exam")} == {exam.id for exam in exams}
