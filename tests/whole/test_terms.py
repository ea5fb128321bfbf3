"""What a destination asked for is what it is promised: the shares, the form, the forms of the report, the clock."""

import json
from datetime import datetime
from typing import Any

import httpx

from service.basics.destination import Terms, written
from service.fhir import uris, validate
from tests.api.judges import judge
from tests.builders import orders
from tests.whole.telling import Desk, Exam, Json, result, taken
from tests.whole.test_delivery import targets

NOWHERE = "http://127.0.0.1:9/fhir"  # nobody listens there: what is promised stays to be looked at
TERMS = {
    "all": Terms(),
    "money": Terms(sends=("charges",)),
    "pages": Terms(sends=("report",), formats=("text/plain",), zone="Asia/Kolkata"),
    "messages": Terms(forms=("message",), form="message"),
    "documents": Terms(sends=("report",), forms=("document",), form="document"),
    "hooks": Terms(sends=("status",), forms=("webhook",), form="webhook"),
    "urgent": Terms(sends=("urgent",)),
}


def asked(desk: Desk) -> None:
    """Destinations that ask for different things."""
    for name, terms in TERMS.items():
        desk.instance.books.add_destination(desk.slug, name, url=NOWHERE, settings=written(terms))


def promised(desk: Desk) -> dict[str, Json]:
    """The one promise to each destination that has any."""
    books = desk.instance.books
    posts = [d for d in books.deliveries(desk.slug) if d.destination in TERMS]
    assert len({p.destination for p in posts}) == len(posts)
    return {p.destination: json.loads(books.post_body(desk.slug, p.id) or b"") for p in posts}


def types(bundle: Json) -> set[str]:
    return {one["resource"]["resourceType"] for one in bundle["entry"]}


def resources(bundle: Json, type_: str) -> list[Json]:
    return [one["resource"] for one in bundle["entry"] if one["resource"]["resourceType"] == type_]


def finished(desk: Desk) -> Exam:
    whole = orders.bundle(service="limited", bodySite=[orders.concept(uris.STRUCTURE, "gallbladder")])
    exam = desk.place(whole)
    desk.survey(exam)
    desk.finish(exam)
    return exam


def test_each_destination_is_promised_what_it_asked_for_and_nothing_else(desk: Desk) -> None:
    asked(desk)
    exam = finished(desk)
    told = promised(desk)
    assert set(told) == set(TERMS) - {"urgent"}
    assert {"DiagnosticReport", "Observation", "ChargeItem", "Invoice", "Procedure", "Task"} <= types(told["all"])
    assert types(told["money"]) <= {"ChargeItem", "Invoice", "Organization", "RelatedPerson"}
    assert types(told["pages"]) <= {"DiagnosticReport", "Observation", "Organization", "RelatedPerson"}
    _report_in_plain_text_by_the_clock_of_its_people(told["pages"], told["all"])
    _a_message_that_can_be_read_alone(told["messages"])
    _a_document(told["documents"])
    hook = told["hooks"]
    assert (hook["type"], set(hook)) == ("exam.finished", {"type", "timestamp", "data"})
    assert {"system": uris.ID, "value": f"{exam.id}:finished:1"} == hook["data"]["identifier"]
    assert not {"DiagnosticReport", "Observation", "ChargeItem", "Invoice"} & types(hook["data"])
    for whole in (told["all"], told["money"], told["pages"], told["messages"], told["documents"], hook["data"]):
        judge(json.dumps(whole).encode())  # two implementations of R4 written by others
        assert validate.check(whole) == []


def _report_in_plain_text_by_the_clock_of_its_people(bundle: Json, usual: Json) -> None:
    (report,), (same,) = resources(bundle, "DiagnosticReport"), resources(usual, "DiagnosticReport")
    assert [form["contentType"].split(";")[0] for form in report["presentedForm"]] == ["text/plain"]
    assert len(same["presentedForm"]) > 1
    assert report["issued"].endswith("+05:30")
    assert same["issued"].endswith("Z")
    assert datetime.fromisoformat(report["issued"]) == datetime.fromisoformat(same["issued"])
    assert {r["type"] for r in _logical(bundle["entry"])} == {"Media"}  # what was not asked for is named, not sent


def _logical(value: Any) -> list[Json]:
    """Every reference by identifier alone, to what of ours was not sent along."""
    if isinstance(value, list):
        return [found for one in value for found in _logical(one)]
    if not isinstance(value, dict):
        return []
    own = value.get("identifier")
    this = [value] if "type" in value and isinstance(own, dict) and own.get("system") == uris.ID else []
    return this + [found for one in value.values() for found in _logical(one)]


def _a_message_that_can_be_read_alone(bundle: Json) -> None:
    assert bundle["type"] == "message"
    header = bundle["entry"][0]["resource"]
    assert (header["resourceType"], header["eventCoding"]["code"]) == ("MessageHeader", "finished")
    assert {"Patient", "ServiceRequest"} <= types(bundle)
    here = {one["fullUrl"] for one in bundle["entry"]}
    assert header["focus"][0]["reference"] in here
    assert all("request" not in one for one in bundle["entry"])
    for one in bundle["entry"]:
        assert "?" not in "".join(targets(one["resource"])), "a conditional reference means nothing in a message"
    told = [t for one in bundle["entry"] for t in targets(one["resource"]) if t.startswith("urn:")]
    assert set(told) <= here


def _a_document(bundle: Json) -> None:
    assert bundle["type"] == "document"
    assert bundle["entry"][0]["resource"]["resourceType"] == "Composition"
    assert "DiagnosticReport" in types(bundle)


def test_what_is_urgent_is_promised_to_who_asked_for_it_each_time_it_moves(desk: Desk) -> None:
    asked(desk)
    exam = desk.place(service="fluid-check")
    said = {"finding": "free-gas", "decision": "confirmed", "by": "Examiner"}
    for _ in range(2):  # the second one changes nothing
        told = result(taken(desk.operate(exam.id, "urgent", **said)))
    (post,) = [d for d in desk.instance.books.deliveries(desk.slug) if d.destination in TERMS]
    assert (post.destination, post.event, post.thread) == ("urgent", "urgent", exam.id)
    body = json.loads(desk.instance.books.post_body(desk.slug, post.id) or b"")
    judge(json.dumps(body).encode())
    (spoken,) = resources(body, "Communication")
    assert {"system": uris.ID, "value": told["communication"].partition("/")[2]} in spoken["identifier"]
    assert len(resources(body, "Task")) == 2
    received = {"by": "Examiner", "to": "Dr R. Ferrer", "method": "voice", "readBack": True}
    taken(desk.operate(told["task"].partition("/")[2], "urgent-acknowledge", **received))
    posts = [d for d in desk.instance.books.deliveries(desk.slug) if d.destination in TERMS]
    assert {p.destination for p in posts} == {"urgent"}
    assert len(posts) == 2


def test_a_destination_that_said_it_is_gone_is_told_to_whoever_watches_the_service(desk: Desk) -> None:
    books, url = desk.instance.books, desk.instance.url
    (destination,) = books.destinations(desk.slug)
    words = "answered 410: the destination is gone for good and was disabled"
    assert books.switch_destination(desk.slug, destination.name, active=False, why=words)
    ready, metrics = httpx.get(f"{url}/readyz"), desk.http.get(f"{url}/metrics")
    assert ready.json() == {"status": "ready", "attention": {"destinations_gone": 1}}
    assert "sonoledger_destinations_gone 1.0" in metrics.text
    before = len(books.deliveries(desk.slug))
    exam = desk.place(service="fluid-check")
    desk.survey(exam)
    desk.finish(exam)
    assert len(books.deliveries(desk.slug)) > before, "if it comes back, nothing is missing there"
    books.switch_destination(desk.slug, destination.name, active=False, why="by an operator")
    assert httpx.get(f"{url}/readyz").json() == {"status": "ready"}, "what a person did is known"
