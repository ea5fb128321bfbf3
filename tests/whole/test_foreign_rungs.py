"""A finished exam carried piece by piece to FHIR servers written by others: sekmet-fhir and fhirstarter, from PyPI.

The first takes batches, conditional writes, messages and documents. The second takes none of these, answers a create
with an empty body and a Location without a host, ignores parameters that it doesn't know, and checks by its models."""

import json
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from service.basics.destination import Terms
from service.commands import destination, destination_check
from service.fhir import exact, uris
from service.fhir.writing.message import message
from service.store import open_books
from tests.courier.carrying import carry
from tests.courier.twin import Twin, TwinPost
from tests.whole.foreign import Foreign, running, running_plain
from tests.whole.foreign_exam import CHARGE, CHIPS, INVOICE, LIVER, NOW, ORDER, PATIENT, REPORT, finished, without_id

pytestmark = pytest.mark.full
RUNGS = [("sekmet", "batch"), ("sekmet", "single"), ("sekmet", "search"), ("fhirstarter", "search")]
OURS = {"DiagnosticReport": REPORT, "Observation": LIVER, "ChargeItem": CHARGE, "Invoice": INVOICE}
SERVERS = {"sekmet": running, "fhirstarter": running_plain}
Open = Callable[[str], Foreign]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Open]:
    """Starts one by its name, with the animal and the order that it owns."""
    with ExitStack() as stack:

        def open_(name: str) -> Foreign:
            there = stack.enter_context(SERVERS[name](tmp_path))
            animal = there.post(without_id(PATIENT))
            there.post({**without_id(ORDER), "subject": {"reference": f"Patient/{animal['id']}"}})
            return there

        yield open_


def send(there: Foreign, rung: str, body: bytes, *, outbox: Twin | None = None) -> Twin:
    post = TwinPost(url=there.url, authorization=there.authorization, form=rung, body=body)
    outbox = outbox or Twin.of(post)
    carry(outbox)
    assert outbox.attempts[-1][1].state == "delivered", outbox.attempts[-1][1]
    return outbox


def the_one(there: Foreign, type_: str) -> dict[str, Any]:
    (only,) = there.found(type_, uris.ID, OURS[type_])
    return only


@pytest.mark.parametrize(("name", "rung"), RUNGS)
def test_it_arrives_linked_once_and_amended(server: Open, name: str, rung: str) -> None:
    there = server(name)
    send(there, rung, finished())
    report, liver = the_one(there, "DiagnosticReport"), the_one(there, "Observation")
    (animal,) = there.found("Patient", CHIPS, "A-1")
    assert report["result"] == [{"reference": f"Observation/{liver['id']}"}]
    assert {the_one(there, type_)["subject"]["reference"] for type_ in OURS} == {f"Patient/{animal['id']}"}
    invoice = the_one(there, "Invoice")["lineItem"][0]["chargeItemReference"]
    assert invoice == {"reference": f"ChargeItem/{the_one(there, 'ChargeItem')['id']}"}
    send(there, rung, finished(status="amended"))  # by a courier that knows nothing of the first time
    amended = the_one(there, "DiagnosticReport")
    assert (amended["id"], amended["status"]) == (report["id"], "amended")
    assert [len(there.found(type_, uris.ID, id_)) for type_, id_ in OURS.items()] == [1, 1, 1, 1]


def test_a_message_and_a_document_are_taken_by_a_server_that_says_it_takes_them(server: Open) -> None:
    there = server("sekmet")
    head = {"now": NOW, "base": "http://127.0.0.1:8000/fhir", "identifier": "exam-1:finished:1"}
    report = {
        "resourceType": "DiagnosticReport",
        "id": REPORT,
        "status": "final",
        "code": {"text": "abdominal ultrasound"},
        "subject": {"reference": "Patient/our-animal"},
    }
    send(there, "message", exact.encode(message([report], theirs=[PATIENT], event="finished", **head)))
    composition = {
        "resourceType": "Composition",
        "status": "final",
        "type": {"text": "report"},
        "date": "2026-11-25",
        "author": [{"display": "Invented"}],
        "title": "Report",
    }
    bundle = {
        "resourceType": "Bundle",
        "identifier": {"system": uris.URI, "value": "urn:uuid:019abcde-0000-7000-8000-0000000000aa"},
        "type": "document",
        "timestamp": "2026-11-25T13:04:29Z",
        "entry": [{"fullUrl": "urn:uuid:019abcde-0000-7000-8000-0000000000ab", "resource": composition}],
    }
    before = there.count("Bundle")
    for _ in range(2):
        send(there, "document", exact.encode(bundle))
    assert there.count("Bundle") == before + 1


@pytest.mark.parametrize("name", SERVERS)
def test_an_animal_that_it_has_twice_makes_a_dead_letter_and_nothing_is_written(server: Open, name: str) -> None:
    there = server(name)
    there.post(without_id(PATIENT))
    outbox = Twin.of(TwinPost(url=there.url, authorization=there.authorization, form="search", body=finished()))
    assert carry(outbox).dead == 1
    assert "2 resources of the type Patient" in outbox.attempts[0][1].reason
    assert there.found("DiagnosticReport", uris.ID, REPORT) == []


@pytest.mark.parametrize(
    ("name", "forms", "chosen"),
    [
        ("fhirstarter", ("transaction", "batch", "single", "search"), "search"),
        ("sekmet", ("transaction", "search"), "transaction"),
    ],
)
def test_it_is_asked_what_it_can_do_and_the_first_form_that_works_is_used(
    server: Open,
    name: str,
    forms: tuple[str, ...],
    chosen: str,
    tmp_path: Path,
    database_url: Callable[[str], str],
    capsys: pytest.CaptureFixture[str],
) -> None:
    there, books, slug = server(name), open_books(database_url("sqlite")), "hill-practice"
    books.add_organization(slug, "Hill Practice (invented)")
    file = tmp_path / "authorization"
    file.write_text(there.authorization or "Bearer unused")
    terms = Terms(forms=forms, form=forms[0])
    destination.add(books, organization=slug, name="records", url=there.url, authorization=file, terms=terms)
    destination_check.check(books, organization=slug, name="records", apply=True)
    shown = capsys.readouterr().out
    assert json.loads(books.destinations(slug)[0].settings)["form"] == chosen
    assert f"{chosen:<12} will work" in shown
    books.close()
