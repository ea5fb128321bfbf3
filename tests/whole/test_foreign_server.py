"""A finished exam's Bundle, carried to a FHIR server written by others (sekmet-fhir, from PyPI).

That server performs transactions, conditional updates, If-None-Exist and conditional references, each of which the
delivery Bundle needs, and says so by doing it here: nothing of it is assumed."""

import json
import threading
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import httpx
import pytest

from service import worker
from service.courier.lines import Lines
from service.fhir import uris
from tests.courier.carrying import carry
from tests.courier.twin import START, Clock, Twin, TwinPost
from tests.whole.foreign import Foreign, running
from tests.whole.foreign_exam import CHARGE, CHIPS, INVOICE, LIVER, ORDER, ORDERS, PATIENT, REPORT, finished, without_id

pytestmark = pytest.mark.full


@pytest.fixture(scope="module")
def foreign(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Foreign]:
    """The record system, with the animal and the order that it owns."""
    with running(tmp_path_factory.mktemp("foreign")) as server:
        animal = server.post(without_id(PATIENT))
        server.post({**without_id(ORDER), "subject": {"reference": f"Patient/{animal['id']}"}})
        yield server


def post_to(foreign: Foreign, body: bytes, **more: Any) -> Twin:
    post = TwinPost(url=foreign.url, authorization=foreign.authorization, body=body)
    return Twin.of(replace(post, **more))


def the_one(foreign: Foreign, type_: str, ours: str) -> dict[str, Any]:
    (only,) = foreign.found(type_, uris.ID, ours)
    return only


def test_report_charge_and_invoice_arrive_linked_to_each_other_and_to_what_it_owns(foreign: Foreign) -> None:
    outbox = post_to(foreign, finished())
    assert carry(outbox).delivered == 1, outbox.attempts
    report, liver = the_one(foreign, "DiagnosticReport", REPORT), the_one(foreign, "Observation", LIVER)
    charge, invoice = the_one(foreign, "ChargeItem", CHARGE), the_one(foreign, "Invoice", INVOICE)
    (animal,), (order,) = foreign.found("Patient", CHIPS, "A-1"), foreign.found("ServiceRequest", ORDERS, "O-1")
    assert report["result"][0]["reference"] == f"Observation/{liver['id']}"
    assert report["basedOn"][0]["reference"] == f"ServiceRequest/{order['id']}"
    assert {r["subject"]["reference"] for r in (report, liver, charge, invoice)} == {f"Patient/{animal['id']}"}
    assert invoice["lineItem"][0]["chargeItemReference"]["reference"] == f"ChargeItem/{charge['id']}"
    assert report["conclusion"] == "Nothing but an example."


def test_a_lost_answer_leads_to_a_second_delivery_and_to_no_second_resource(foreign: Foreign) -> None:
    class LosesTheFirst(httpx.AsyncHTTPTransport):
        lost = 0

        async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
            answer = await super().handle_async_request(request)
            if self.lost == 0:
                self.lost += 1
                await answer.aclose()
                raise httpx.ReadError("the answer was lost")
            return answer

    before = {type_: foreign.count(type_) for type_ in ("Patient", "ServiceRequest")}
    outbox, clock, wire = post_to(foreign, finished()), Clock(START), LosesTheFirst()
    for wait in (0, 5):
        clock.moment = outbox.posts["0001"].due if wait else START
        run(outbox, clock=clock, wire=wire)
    assert [(s.state, s.status) for _, s in outbox.attempts] == [("waiting", None), ("delivered", 200)]
    assert {type_: foreign.count(type_) for type_ in before} == before
    assert [foreign.count(type_) for type_ in ("DiagnosticReport", "Observation", "ChargeItem", "Invoice")] == [
        1,
        1,
        1,
        1,
    ]


def run(outbox: Twin, *, clock: Clock, wire: httpx.AsyncBaseTransport) -> None:
    worker.run(
        outbox, stop=threading.Event(), until_idle=True, lines=Lines(transport=wire), now=clock, draw=lambda n: 0
    )


def test_an_amended_report_becomes_the_next_version_of_the_same_one(foreign: Foreign) -> None:
    before = the_one(foreign, "DiagnosticReport", REPORT)
    carry(post_to(foreign, finished(status="amended")))
    after = the_one(foreign, "DiagnosticReport", REPORT)
    assert (after["id"], after["status"]) == (before["id"], "amended")
    assert int(after["meta"]["versionId"]) > int(before["meta"]["versionId"])


def test_an_animal_it_does_not_know_makes_a_dead_letter_with_its_own_words_and_nothing_is_stored(
    foreign: Foreign,
) -> None:
    before = [foreign.count(type_) for type_ in ("DiagnosticReport", "Observation", "Patient")]
    stranger = {**PATIENT, "id": "stranger", "identifier": [{"system": CHIPS, "value": "nobody"}]}
    outbox = post_to(foreign, finished(animal=stranger))
    assert carry(outbox).dead == 1
    ((_, settlement),) = outbox.attempts
    assert settlement.status in (404, 412)
    assert json.loads(settlement.answer)["resourceType"] == "OperationOutcome"
    assert [foreign.count(type_) for type_ in ("DiagnosticReport", "Observation", "Patient")] == before


def test_an_animal_without_an_identifier_is_sent_once(foreign: Foreign) -> None:
    before = foreign.count("Patient")
    nameless = {**without_id(PATIENT), "id": "019abcde-0000-7000-8000-0000000000ff", "identifier": []}
    for _ in range(2):
        assert carry(post_to(foreign, finished(animal=nameless))).delivered == 1
    assert foreign.count("Patient") == before + 1


def test_credentials_it_does_not_know_make_a_dead_letter(foreign: Foreign) -> None:
    outbox = post_to(foreign, finished(), authorization="Bearer nobody")
    assert carry(outbox).dead == 1
    assert outbox.attempts[0][1].status == 401
