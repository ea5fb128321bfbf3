"""Direct claims over HTTP on both engines: what is missing is warned of, listed, and gone when it is there."""

from collections.abc import Callable, Iterator
from typing import Any

import httpx
import pytest

from service.actions.billing_check import check
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.fhir import uris
from service.joined import application
from service.store import SqlBooks
from tests.api.running import client, register, served
from tests.builders.bills import house
from tests.builders.counter import RICH, Counter, lines, note
from tests.builders.orders import concept, number, patient
from tests.builders.tariff_rows import row

Json = dict[str, Any]


@pytest.fixture(scope="module")
def base(books: SqlBooks) -> Iterator[str]:
    whole = load({**read_folder(), "tariff.csv": RICH + row("claim-admin", amount="10.00")})
    with served(application(books, whole, base="http://127.0.0.1/fhir")) as url:
        yield url


@pytest.fixture
def counter(books: SqlBooks, base: str, practice: Callable[..., str]) -> Iterator[Counter]:
    slug = practice()
    with client(base, register(books, slug)) as http:
        http.headers["Content-Type"] = "application/fhir+json"
        yield Counter(books, slug, http)


def insured(counter: Counter) -> tuple[Json, str]:
    """(an animal, its id) whose insurer has authorised everything."""
    animal = patient(number("claim"))
    id_ = counter.post(animal)["id"]
    insurer = counter.post({"resourceType": "Organization", "name": "Invented Mutual"})["id"]
    held = {"url": uris.X_AUTHORISATION, "extension": [{"url": "number", "valueString": "PA-9"}]}
    payor = {"reference": f"Organization/{insurer}", "display": "Invented Mutual"}
    cover = {"resourceType": "Coverage", "status": "active", "extension": [held], "payor": [payor]}
    counter.post({**cover, "beneficiary": {"reference": f"Patient/{id_}"}})
    return animal, id_


def history(animal: str, **by: Any) -> Json:
    """A clinical history as a document."""
    return {
        "resourceType": "DocumentReference",
        "status": "current",
        "type": concept(uris.CLAIM_DOCUMENT, "clinical-history"),
        "subject": {"reference": f"Patient/{animal}"},
        "content": [{"attachment": {"contentType": "application/pdf", "url": "https://records.example/h.pdf"}}],
        **by,
    }


def listed(counter: Counter) -> list[str]:
    """What the open exceptions say, after a look."""
    check(house(counter.books), counter.slug, now="2026-11-25T10:00:10.000Z")
    found = counter.http.get("/fhir/Task", params={"code": "billing-exception", "status": "requested"}).json()
    return [e["resource"]["description"] for e in found.get("entry", [])]


def test_b26_a_claim_without_the_history_of_every_vet_is_warned_of_and_listed(counter: Counter) -> None:
    animal, id_ = insured(counter)
    exam, said = counter.finished(note("doppler"), animal=animal)
    claim, fee = (counter.get(one) for one in said["invoice"])
    assert lines(fee) == {"claim-admin": ("1", "10.00")}  # a fee of its own, to the client
    assert fee["recipient"]["reference"].startswith("RelatedPerson/")
    (words,) = said["warning"]
    of = "the clinical history of Dr R. Ferrer, Invented Clinic, for it is the first under this cover"
    assert words == f"The claim at Invented Mutual by invoice {claim['identifier'][0]['value']} lacks {of}."
    assert listed(counter) == [words]
    counter.post(history(id_, author=[{"display": "Somebody else"}]))
    assert listed(counter) == [words]
    asked = counter.get(f"ServiceRequest/{ordered(counter, exam)}")["requester"]
    counter.post(history(id_, author=[{"reference": asked["reference"]}]))
    assert listed(counter) == []
    _, again = counter.finished(animal=animal, owners=0, priority="routine", extension=[repeat("Second opinion")])
    assert "warning" not in again  # the histories are there


@pytest.mark.full
def test_b26_a_claim_that_is_credited_or_paid_asks_for_nothing(counter: Counter) -> None:
    animal, _ = insured(counter)
    exam, said = counter.finished(animal=animal)
    assert len(listed(counter)) == 1
    credit(counter, exam, said)
    assert listed(counter) == []


@pytest.mark.full
def test_b32_a_second_exam_of_the_day_asks_for_a_reason_unless_its_order_says_it(counter: Counter) -> None:
    animal = patient(number("twice"))
    counter.finished(animal=animal)
    counter.finished(animal=animal, owners=0, extension=[repeat("The bladder was empty in the morning")])
    assert not [one for one in listed(counter) if "same day" in one]
    counter.finished(animal=animal, owners=0, extension=[repeat("  ")])
    assert len([one for one in listed(counter) if "same day" in one]) == 1


def repeat(words: str) -> Json:
    return {"url": uris.X_REPEAT, "valueString": words}


def credit(counter: Counter, exam: str, said: Json) -> None:
    named = {"name": "invoice", "valueReference": {"reference": said["invoice"][0]}}
    answer: httpx.Response = counter.operate(exam, "credit", named, reason="Agreed", by="A. Desk")
    assert answer.is_success, answer.text


def ordered(counter: Counter, exam: str) -> str:
    with counter.books.view(counter.slug) as view:
        found = view.exam(exam)
    assert found is not None
    return found.order
