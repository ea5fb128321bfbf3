"""The log, the counters, the probes and the audit of what was read or refused."""

import json
import logging
import time
from collections.abc import Callable
from typing import Any

import httpx
import pytest

from service.api import audit
from service.api.audit import Audit
from service.api.metrics import Metrics
from service.basics.stored import Trace
from tests.api.conftest import JSON, Place

Post = Callable[..., dict[str, Any]]
SECRET = "Unspeakable"


def test_one_log_line_a_request_and_nothing_private_in_it(
    rest: httpx.Client, place: Place, name: str, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.DEBUG):
        body = {"resourceType": "Patient", "name": [{"text": SECRET}]}
        made = rest.post("/fhir/Patient", json=body, headers=JSON | {"X-Request-Id": "mine"})
        rest.get(f"/fhir/Patient/{made.json()['id']}")
        rest.get("/fhir/Patient", params={"identifier": SECRET})
        rest.get(f"/nothing/{SECRET}")
        rest.request("GET", "/fhir/Patient", headers={"Authorization": f"Bearer {SECRET}"})
        end = time.monotonic() + 5
        while time.monotonic() < end and sum(r.name == "sonoledger.api" for r in caplog.records) < 5:
            time.sleep(0.01)  # a line is written once its answer has gone out
    lines = [json.loads(one.message) for one in caplog.records if one.name == "sonoledger.api"]
    assert [(one["action"], one["status"]) for one in lines] == [
        ("create", 201),
        ("read", 200),
        ("search-type", 200),
        ("request", 404),
        ("request", 401),
    ]
    assert lines[0]["request"] == "mine"
    assert lines[1] | {"ms": 0, "request": ""} == {
        "action": "read",
        "request": "",
        "method": "GET",
        "route": "/fhir/{type}/{id}",
        "organization": name,
        "type": "Patient",
        "id": made.json()["id"],
        "status": 200,
        "ms": 0,
    }
    ours = [one.getMessage() for one in caplog.records if one.name.startswith("sonoledger")]
    assert not any(SECRET in line for line in ours)


def test_requests_are_counted_by_their_template(rest: httpx.Client) -> None:
    rest.get("/fhir/Patient/x")
    rest.get("/fhir/Location/y")
    counted = rest.get("/metrics").text
    assert 'sonoledger_requests_total{method="GET",route="/fhir/{type}/{id}",status="404"}' in counted
    assert "sonoledger_request_seconds_bucket" in counted
    assert "/x" not in counted


def test_a_gauge_is_read_when_asked() -> None:
    reading = [1.0]
    counted = Metrics({"posts_dead": ("Posts that were given up", lambda: reading[0])})
    assert b"sonoledger_posts_dead 1.0" in counted.text()
    reading[0] = 2.0
    assert b"sonoledger_posts_dead 2.0" in counted.text()


def audited(place: Place, name: str, request: str) -> Trace:
    """The audit line of a request; lines are written about once a second."""
    for _ in range(100):
        with place.books.view(name) as view:
            found = [one for one in view.traces()[0] if one.request == request]
        if found:
            assert len(found) == 1
            return found[0]
        time.sleep(0.05)
    raise AssertionError(f"no audit line of {request}")


def test_reads_and_refusals_are_audited(rest: httpx.Client, place: Place, name: str, stored: Post) -> None:
    one = stored()
    url = f"/fhir/Patient/{one['id']}"
    asked = {
        "r1": rest.get(url, headers={"X-Request-Id": "r1"}),
        "r2": rest.get("/fhir/Patient", headers={"X-Request-Id": "r2"}),
        "r3": rest.get("/fhir/Patient/nobody", headers={"X-Request-Id": "r3"}),
        "r4": rest.get(url + "/_history", headers={"X-Request-Id": "r4"}),
        "r5": rest.post("/fhir/Task/x/$amend", headers={"X-Request-Id": "r5"}),
        "r6": rest.post("/fhir/Task/x/$withdraw", headers={"X-Request-Id": "r6"}),
    }
    assert [answer.status_code for answer in asked.values()] == [200, 200, 404, 200, 409, 500]
    traces = [audited(place, name, request) for request in asked]
    assert [(t.interaction, t.action, t.outcome, t.type, t.id_of, t.operation) for t in traces] == [
        ("read", "R", "0", "Patient", one["id"], ""),
        ("search-type", "E", "0", "Patient", "", ""),
        ("read", "R", "4", "Patient", "nobody", ""),
        ("history-instance", "E", "0", "Patient", one["id"], ""),
        ("operation", "E", "4", "Task", "x", "amend"),
        ("operation", "E", "8", "Task", "x", "withdraw"),
    ]
    assert traces[1].entities == (f"Patient/{one['id']}",)
    assert {t.client for t in traces} == {"a test"}


def line(number: int) -> audit.Line:
    return "org", Trace(str(number), "", "read", "R", "0", "", "")


def test_audit_lines_wait_for_a_store_that_is_away() -> None:
    written: list[str] = []
    away = [True]

    def write(lines: list[audit.Line]) -> None:
        if away[0]:
            raise OSError("away")
        written.extend(trace.id for _, trace in lines)

    log = Audit(write)
    for number in range(1200):
        log.note(line(number))
    assert log.flush() is False
    away[0] = False
    assert log.flush() is True
    assert written == [str(number) for number in range(1200)]


def test_audit_lines_that_find_no_room_are_counted(caplog: pytest.LogCaptureFixture) -> None:
    def write(lines: list[audit.Line]) -> None:
        raise OSError("away")

    log = Audit(write)
    for number in range(20_003):
        log.note(line(number))
    assert log.dropped == 3
    log.flush()
    assert json.loads(caplog.records[-1].message)["dropped"] == 3
