"""One line of the audit for each interaction, also when it was refused: none is missing, none comes twice."""

import socket
import time
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx

from tests.api import running
from tests.builders import orders
from tests.builders.audited import Open

Json = dict[str, Any]


def patient(value: str = "") -> Json:
    return {"resourceType": "Patient"} | ({"identifier": [{"system": "urn:x", "value": value}]} if value else {})


def test_reads_and_searches(enter: Open) -> None:
    at = enter()
    id_ = at.call("POST", "/fhir/Patient", 201, ("create", "C", "0", "Patient"), json=patient()).json()["id"]
    mine, all_ = f"/fhir/Patient/{id_}", "/fhir/Patient"
    at.call("GET", mine, 200, ("read", "R", "0", "Patient"))
    at.call("HEAD", mine, 200, ("read", "R", "0", "Patient"))
    at.call("GET", mine, 304, ("read", "R", "0", "Patient"), headers={"If-None-Match": 'W/"1"'})
    at.call("GET", f"{mine}/_history/1", 200, ("vread", "R", "0", "Patient"))
    at.call("GET", f"{mine}/_history", 200, ("history-instance", "E", "0", "Patient"))
    at.call("GET", f"{all_}/_history", 200, ("history-type", "E", "0", "Patient"))
    at.call("GET", "/fhir/_history", 200, ("history-system", "E", "0", ""))
    at.call("GET", all_, 200, ("search-type", "E", "0", "Patient"))
    form = {"Content-Type": "application/x-www-form-urlencoded"}
    at.call("POST", f"{all_}/_search", 200, ("search-type", "E", "0", "Patient"), headers=form, content="_count=1")
    at.call("POST", f"{all_}/$validate", 200, ("$validate", "E", "0", "Patient"), json=patient())
    at.call("GET", "/fhir/AuditEvent", 200, ("search-type", "E", "0", "AuditEvent"))
    at.call("GET", "/fhir/metadata", 200)
    assert at.left() == at.expected
    shown = {line.interaction: line.entities for line in at.lines() if line.outcome == "0" and line.type == "Patient"}
    assert {tuple(seen) for code, seen in shown.items() if code != "operation"} == {(f"Patient/{id_}",)}


def test_reads_and_searches_that_are_refused(enter: Open) -> None:
    at = enter()
    at.call("GET", "/fhir/Patient/nobody", 404, ("read", "R", "4", "Patient"))
    at.call("GET", "/fhir/Patient/nobody/_history/1", 404, ("vread", "R", "4", "Patient"))
    at.call("GET", "/fhir/Patient/nobody/_history", 404, ("history-instance", "E", "4", "Patient"))
    at.call("GET", "/fhir/Patient/_history?_count=x", 400, ("history-type", "E", "4", "Patient"))
    at.call("GET", "/fhir/Patient?birthdate=x", 400, ("search-type", "E", "4", "Patient"))
    at.call("GET", "/fhir/Patient", 406, ("search-type", "E", "4", "Patient"), headers={"Accept": "text/html"})
    at.call("GET", "/fhir/AuditEvent/nobody", 404, ("read", "R", "4", "AuditEvent"))
    at.call("GET", "/fhir/AuditEvent?date=x", 400, ("search-type", "E", "4", "AuditEvent"))
    at.call("POST", "/fhir/Patient/$validate", 400, ("$validate", "E", "4", "Patient"), content="{")
    at.call("GET", "/fhir/Foo/x", 404, ("read", "R", "4", ""))
    at.call("POST", "/fhir/Patient/$no-such", 404, ("operation", "E", "4", "Patient"))
    at.call("GET", "/fhir/Patient/a%00b", 404, ("read", "R", "4", "Patient"))
    at.call("GET", "/fhir/F%00o/J%20Doe", 404, ("read", "R", "4", ""))
    at.call("PROPFIND", "/fhir/Patient/x", 405, ("", "E", "4", "Patient"))
    assert at.left() == at.expected
    words = {text for line in at.lines() for text in (line.type, line.id_of)}
    assert words == {"", "Patient", "AuditEvent", "nobody", "x", "none", "Flag"}


def test_writes_done_and_refused(enter: Open) -> None:
    at = enter()
    patients, once = "/fhir/Patient", {"If-None-Exist": "identifier=urn:x|a"}
    done, refused = ("create", "C", "0", "Patient"), ("create", "C", "4", "Patient")
    id_ = at.call("POST", patients, 201, done, json=patient("a"), headers=once).json()["id"]
    at.call("POST", patients, 200, done, json=patient("a"), headers=once)
    at.call("POST", patients, 201, done, json=patient("a"))
    at.call("POST", patients, 412, refused, json=patient("a"), headers=once)
    at.call("POST", patients, 400, refused, json=patient() | {"colour": "red"})
    at.call("POST", patients, 400, refused, content=b'{"a":1,"a":2}')
    at.call("POST", patients, 415, refused, content="<Patient/>", headers={"Content-Type": "application/fhir+xml"})
    at.call("POST", patients, 413, refused, content=b" " * (2 * 1024 * 1024 + 1))
    mine, done, refused = f"{patients}/{id_}", ("update", "U", "0", "Patient"), ("update", "U", "4", "Patient")
    at.call("PUT", mine, 200, done, json=patient("b") | {"id": id_})
    at.call("PUT", f"{patients}?identifier=urn:x|b", 200, done, json=patient("b"))
    at.call("PUT", mine, 412, refused, json=patient("b") | {"id": id_}, headers={"If-Match": 'W/"1"'})
    at.call("PUT", f"{patients}/new", 405, refused, json=patient() | {"id": "new"})
    at.call("PUT", "/fhir/Task/x", 400, ("update", "U", "4", "Task"), json=[])
    assert at.left() == at.expected


def test_a_token_that_may_not_leaves_its_line_and_nobody_leaves_none(enter: Open, joined: str) -> None:
    at = enter("records", "system/Patient.r")
    at.call("GET", "/fhir/Observation/x", 403, ("read", "R", "4", "Observation"))
    at.call("GET", "/fhir/Patient", 403, ("search-type", "E", "4", "Patient"))
    at.call("POST", "/fhir/Patient", 403, ("create", "C", "4", "Patient"), json=patient())
    at.call("GET", "/fhir/AuditEvent", 403, ("search-type", "E", "4", "AuditEvent"))
    at.call("POST", "/fhir/Task/x/$finish", 403, ("$finish", "E", "4", "Task"))
    with running.client(joined, "not-a-token") as stranger:
        assert stranger.get("/fhir/Patient").status_code == 401
    assert at.left() == at.expected


def test_a_caller_who_goes_away_before_its_body_is_here_leaves_its_line(enter: Open, joined: str) -> None:
    at = enter()
    address = httpx.URL(joined)
    head = f"POST /fhir/Patient HTTP/1.1\r\nHost: x\r\nAuthorization: {at.http.headers['authorization']}\r\n"
    with socket.create_connection((address.host, address.port or 0)) as wire:
        wire.sendall(f"{head}Content-Type: application/fhir+json\r\nContent-Length: 100\r\n\r\n{{".encode())
        time.sleep(0.2)
    time.sleep(0.2)
    assert [kind for _, kind in at.left()] == [("create", "C", "4", "Patient")]


def test_bundles(enter: Open) -> None:
    at = enter()
    place = {"resource": patient("a"), "request": {"method": "POST", "url": "Patient"}}
    wrong = {"resource": patient() | {"colour": "red"}, "request": {"method": "POST", "url": "Patient"}}
    missing = {"request": {"method": "GET", "url": "Patient/nobody"}}

    def bundle(kind: str, *entries: Json) -> Json:
        return {"resourceType": "Bundle", "type": kind} | ({"entry": list(entries)} if entries else {})

    whole = ("transaction", "E", "0", "")
    made = at.call("POST", "/fhir", 200, whole, json=bundle("transaction", place, place))
    there = {"request": {"method": "GET", "url": made.json()["entry"][0]["response"]["location"].split("/fhir/")[1]}}
    there["request"]["url"] = there["request"]["url"].partition("/_history")[0]
    at.call("POST", "/fhir", 200, whole, json=bundle("transaction", place))
    at.call("POST", "/fhir", 200, whole, json=bundle("transaction"))
    at.call("POST", "/fhir", 200, ("batch", "E", "0", ""), json=bundle("batch"))
    at.call("POST", "/fhir", 400, ("transaction", "E", "4", ""), json=bundle("transaction", place, wrong))
    at.call("POST", "/fhir", 400, ("transaction", "E", "4", ""), json=bundle("history"))
    own = {"resource": {"resourceType": "AuditEvent"}, "request": {"method": "POST", "url": "AuditEvent"}}
    at.call(
        "POST",
        "/fhir",
        200,
        ("create", "C", "0", "Patient"),
        ("create", "C", "4", "Patient"),
        ("read", "R", "0", "Patient"),
        ("read", "R", "4", "Patient"),
        ("create", "C", "4", "AuditEvent"),
        json=bundle("batch", place, wrong, there, missing, own),
    )
    at.call("POST", "/fhir", 200, ("create", "C", "4", "Patient"), json=bundle("batch", wrong))
    assert at.left() == at.expected


def test_operations_on_an_exam(enter: Open) -> None:
    at = enter("practice")
    whole, placed = ("transaction", "E", "0", ""), orders.bundle()
    at.call("POST", "/fhir", 200, whole, json=placed)
    at.call("POST", "/fhir", 200, whole, json=placed)
    placed["entry"][-1]["resource"]["priority"] = "stat"
    at.call("POST", "/fhir", 409, ("transaction", "E", "4", ""), json=placed)
    tasks = at.http.get("/fhir/Task?status=accepted").json()["entry"]
    exam = tasks[0]["resource"]["id"]
    step = at.http.get(f"/fhir/Task?part-of=Task/{exam}&status=ready&_count=1").json()["entry"][0]["resource"]["id"]
    gas = orders.parameters(disposition="not-seen", reason="gas", performer="Dr R. Ferrer")
    left = {"interpreter": "Dr I. Reader", "conclusion": "None.", "remaining": "equipment", "detail": "It failed."}
    said = {
        "status": "amended",
        "major": False,
        "reason": "More was seen.",
        "by": "Dr I. Reader",
        "conclusion": "A polyp.",
    }
    gone = {"reason": "wrong animal", "by": "Dr I. Reader"}
    for id_, name, status, content in [
        (step, "settle", 200, gas),
        (step, "settle", 422, orders.parameters(disposition="not-seen", reason="boredom")),
        (exam, "settle", 400, orders.parameters(disposition="seen")),
        ("nobody", "settle", 404, gas),
        (exam, "finish", 422, orders.parameters(interpreter="Dr I. Reader", conclusion="None.")),
        (exam, "amend", 409, orders.parameters(said)),
        (exam, "finish", 200, orders.parameters(left)),
        (exam, "finish", 200, orders.parameters(left)),
        (exam, "finish", 409, orders.parameters(left | {"conclusion": "Another."})),
        (exam, "amend", 200, orders.parameters(said)),
        (exam, "withdraw", 200, orders.parameters(gone)),
        (step, "settle", 409, gas),
    ]:
        outcome = "0" if status == 200 else "4"
        at.call("POST", f"/fhir/Task/{id_}/${name}", status, (f"${name}", "E", outcome, "Task"), json=content)
    found = at.left()
    assert {one: found[one] for one in at.expected} == at.expected
    assert sum(found.values()) == sum(at.expected.values()) + 2  # the two searches


def test_callers_at_once_leave_a_line_each(enter: Open) -> None:
    at = enter()

    def create(n: int) -> int:
        headers = {"If-None-Exist": "identifier=urn:x|one", "X-Request-Id": f"at-once-{n}"}
        return at.http.post("/fhir/Patient", json=patient("one"), headers=headers).status_code

    with ThreadPoolExecutor(20) as callers:
        assert sorted(callers.map(create, range(20))) == [200] * 19 + [201]
    assert at.left() == {(f"at-once-{n}", ("create", "C", "0", "Patient")): 1 for n in range(20)}
