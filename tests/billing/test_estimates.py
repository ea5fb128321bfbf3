"""Estimate and consent over HTTP on both engines: by the prices that will be billed, and a surprise is told."""

import random
from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

import pytest

from service.actions.billing_check import check
from service.fhir import exact, uris
from service.store import SqlBooks
from tests.api.running import client, register
from tests.builders.bills import house
from tests.builders.counter import Counter, line, lines, note, told
from tests.builders.insured import Insured, authorised
from tests.builders.money import faults
from tests.builders.scanner import AT, Scanner

Json = dict[str, Any]
SHOWN = {  # charge -> the note that shows it
    "doppler": "doppler",
    "sedation": "sedation",
    "sample": "sample",
    "cystocentesis": "cystocentesis",
    "drainage": "drainage",
    "clipping": "clipping",
    "export": "image-export",
    "call-out": "call-out",
}
SAID = {"by": "A. Desk", "given": "R. Ownwell", "method": "voice"}


class Estimated(Counter):
    """A practice at its counter that estimates."""

    def estimate(self, exam: str, *expected: str) -> Json:
        return self.answer(self.operate(exam, "estimate", *({"name": "expected", "valueCode": c} for c in expected)))

    def answer(self, got: Any) -> Json:
        assert got.is_success, got.text
        return told(exact.decode(got.content))

    def examined(self, exam: str, request: str, animal: str, *notes: Json) -> Json:
        """What finishing an exam that was ordered before told."""
        scanner = Scanner(request, animal, at=AT)
        for one in notes:
            self.post(scanner.about({**one, "effectiveDateTime": AT}))
        while resources := scanner.everything(self._ready(exam)):
            for one in resources:
                self.post(one)
        return self.finish(exam)

    def exceptions(self) -> list[Json]:
        """The open exceptions, after a look."""
        check(house(self.books), self.slug, now="2026-11-25T10:00:10.000Z")
        search = {"code": f"{uris.BILLING_EXCEPTION}|estimate-exceeded", "status": "requested"}
        return [e["resource"] for e in self.http.get("/fhir/Task", params=search).json().get("entry", [])]


@pytest.fixture
def at(books: SqlBooks, base: str, practice: Callable[..., str]) -> Iterator[Callable[..., Estimated]]:
    opened = []

    def made(**settings: Any) -> Estimated:
        slug = practice(**settings)
        opened.append(client(base, register(books, slug)))
        opened[-1].headers["Content-Type"] = "application/fhir+json"
        return Estimated(books, slug, opened[-1])

    yield made
    for http in opened:
        http.close()


def test_b24_an_estimate_is_a_draft_by_the_prices_that_will_be_billed(at: Callable[..., Estimated]) -> None:
    counter = at()
    request, exam, animal = counter.order()
    first = counter.estimate(exam, "sedation", "sample", "sample")
    draft = counter.get(first["estimate"][0])
    assert faults(draft) == []
    assert (draft["status"], draft["totalGross"]["value"]) == ("draft", Decimal("237.60"))
    assert lines(draft) == {"fluid-check": ("1", "46.00"), "sedation": ("1", "62.00"), "sample": ("2", "90.00")}
    assert first["total"] == ["R. Ownwell: 237.60 EUR"]
    assert not {"date", "number"} & draft.keys()
    assert counter.estimate(exam, "sedation", "sample", "sample") == first  # the same again changes nothing
    assert counter.get(first["estimate"][0]) == draft
    assert counter.estimate(exam)["estimate"] == first["estimate"]  # another one is its next version
    assert counter.get(first["estimate"][0])["totalGross"]["value"] == Decimal("55.20")
    task = counter.get(f"Task/{exam}")
    assert [o["valueReference"]["reference"] for o in task["output"]] == first["estimate"]
    said = counter.examined(exam, request, animal)
    assert "warning" not in said
    assert counter.exceptions() == []
    assert counter.operate(exam, "estimate").status_code == 409  # what is finished is no longer estimated
    numbers = [e["resource"].get("identifier") for e in counter.http.get("/fhir/Invoice?status=issued").json()["entry"]]
    assert [n[0]["value"].partition("-")[2] for n in numbers] == ["000001"]  # a draft draws no number


def test_b24_a_bill_beyond_what_was_agreed_to_is_told_and_listed_until_it_is_settled(
    at: Callable[..., Estimated],
) -> None:
    counter = at(estimateShare=20)
    request, exam, animal = counter.order()
    counter.estimate(exam, "doppler")  # 97.20
    agreed = {"name": "amount", "valueMoney": {"value": Decimal("60.00"), "currency": "EUR"}}
    consent = counter.answer(counter.operate(exam, "consent", agreed, **SAID))["consent"]
    assert counter.answer(counter.operate(exam, "consent", agreed, **SAID))["consent"] == consent
    kept = counter.get(consent[0])
    assert faults(kept) == []
    assert (kept["status"], kept["performer"]) == ("active", [{"display": "R. Ownwell"}])
    assert kept["provision"]["data"][0]["reference"]["reference"].endswith("/_history/1")
    said = counter.examined(exam, request, animal, note("doppler"))
    words = "R. Ownwell is billed 97.20 EUR, and 60.00 EUR were agreed to: 62.0 % more, where 20 % may pass."
    assert said["warning"] == [words]
    (task,) = counter.exceptions()
    assert (task["description"], task["focus"]["reference"]) == (words, said["invoice"][0])
    counter.credit(exam, line(2, quantity=Decimal(1)))
    assert counter.exceptions() == []  # 55.20 are within what was agreed to


@pytest.mark.full
def test_b24_a_practice_that_sets_no_share_is_told_nothing(at: Callable[..., Estimated]) -> None:
    counter = at(estimateShare=None)
    request, exam, animal = counter.order()
    counter.estimate(exam)
    assert "warning" not in counter.examined(exam, request, animal, note("doppler"))
    assert counter.exceptions() == []


def test_b24_the_night_of_an_appointment_is_in_its_estimate_and_what_will_not_be_costs_nothing(
    at: Callable[..., Estimated],
) -> None:
    counter = at()
    night = "2026-11-28T22:00:00Z"
    request, exam, _ = counter.order(occurrenceDateTime=night, priority="stat")
    draft = counter.get(counter.estimate(exam)["estimate"][0])
    assert set(lines(draft)) == {"fluid-check", "out-of-hours"}  # the slot gives way to the night
    order = counter.get(f"ServiceRequest/{request}")
    tag = {"If-Match": counter.http.get(f"/fhir/ServiceRequest/{request}").headers["etag"]}
    revoked = exact.encode({**order, "status": "revoked"})
    assert counter.http.put(f"/fhir/ServiceRequest/{request}", content=revoked, headers=tag).is_success
    gone = counter.get(f"Invoice/{draft['id']}")
    assert (gone["status"], gone["cancelledReason"]) == ("cancelled", "The order was revoked before the exam began.")


@pytest.mark.full
def test_b24_b25_who_was_to_pay_nothing_is_told_when_the_insurer_does_not(at: Callable[..., Estimated]) -> None:
    counter = at()
    one = Insured(counter, authorised(amount="60.00"))
    request, exam, animal = counter.order(animal=one.animal, owners=1)
    said = counter.estimate(exam)
    assert said["total"] == ["Invented Mutual: 55.20 EUR"]
    one.owners = 0
    one.finished()  # another exam spends what was held
    told_ = counter.examined(exam, request, animal)
    assert "R. Ownwell is billed 55.20 EUR, and nothing was estimated for this payer." in told_["warning"]


@pytest.mark.full
@pytest.mark.parametrize("seed", range(12))
def test_b24_what_is_expected_and_done_is_billed_as_it_was_estimated(at: Callable[..., Estimated], seed: int) -> None:
    """Any of the services that an exam can show: estimate and invoice have the same lines and the same totals."""
    counter, chosen = at(), random.Random(seed)
    done = chosen.sample(sorted(SHOWN), chosen.randint(0, len(SHOWN)))
    request, exam, animal = counter.order(priority=chosen.choice(["routine", "stat"]))
    (reference,) = counter.estimate(exam, *done)["estimate"]
    draft = counter.get(reference)
    invoice = counter.get(counter.examined(exam, request, animal, *(note(SHOWN[c]) for c in done))["invoice"][0])
    assert lines(invoice) == lines(draft)
    totals = ("totalNet", "totalGross", "totalPriceComponent", "recipient")
    assert [invoice[name] for name in totals] == [draft[name] for name in totals]


def test_what_is_wrong_with_an_estimate_or_a_consent_is_told_at_once(at: Callable[..., Estimated]) -> None:
    counter = at()
    _, exam, _ = counter.order()
    assert counter.operate(exam, "consent", **SAID).status_code == 409  # nothing was estimated
    refused = counter.operate(exam, "estimate", {"name": "expected", "valueCode": "massage"})
    assert refused.status_code == 422
    assert "massage" in refused.json()["issue"][0]["details"]["text"]
    odd = [
        {"name": "expected", "valueCoding": {"code": "massage"}},
        {"name": "expected", "valueCoding": {"version": "1"}},
    ]
    text = counter.operate(exam, "estimate", *odd).json()["issue"][0]["details"]["text"]
    assert text.startswith("No exam can show what has no code, massage. What can")
    assert counter.operate(exam, "estimate", {"name": "expected", "valueCoding": {"code": "doppler"}}).is_success
    counter.estimate(exam)
    ahead = {"name": "at", "valueDateTime": "2027-01-01T10:00:00Z"}
    wrong = {"name": "amount", "valueMoney": {"value": Decimal("1.234"), "currency": "EUR"}}
    refused = counter.operate(exam, "consent", ahead, wrong, method="semaphore")
    texts = [i["details"]["text"] for i in refused.json()["issue"]]
    assert refused.status_code == 422
    assert len(texts) == 5, texts  # by, given, method, at, amount
    vast = {"name": "amount", "valueMoney": {"value": Decimal("1E+9"), "currency": "EUR"}}
    refused = counter.operate(exam, "consent", vast, **SAID)
    assert refused.status_code == 422
    assert refused.json()["issue"][0]["details"]["text"] == "`amount` is below 1,000,000,000."
    draft = counter.get(counter.estimate(exam)["estimate"][0])
    path = f"/fhir/Invoice/{draft['id']}"
    tag = {"If-Match": counter.http.get(path).headers["etag"]}
    written = counter.http.put(path, content=exact.encode({**draft, "status": "cancelled"}), headers=tag)
    assert written.status_code == 409  # it is ours


def test_an_estimate_knows_no_payer_where_it_is_not_clear_who_that_is(at: Callable[..., Estimated]) -> None:
    counter = at()
    _, exam, _ = counter.order(owners=2)
    said = counter.estimate(exam)
    draft = counter.get(said["estimate"][0])
    assert "recipient" not in draft
    assert said["total"] == ["the client: 55.20 EUR"]
