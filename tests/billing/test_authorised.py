"""Pre-authorisations over HTTP on both engines: an insurer pays what he holds and no more, however many exams ask."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from typing import Any

import pytest

from service.fhir import exact, uris
from service.store import SqlBooks
from tests.api.running import client, register
from tests.builders.counter import Counter, lines, note
from tests.builders.insured import Insured, authorised
from tests.builders.money import faults

Json = dict[str, Any]
Made = Callable[..., Counter]


@pytest.fixture
def counter(books: SqlBooks, base: str, practice: Callable[..., str]) -> Iterator[Counter]:
    slug = practice()
    with client(base, register(books, slug)) as http:
        http.headers["Content-Type"] = "application/fhir+json"
        yield Counter(books, slug, http)


def whom(invoice: Json) -> str:
    return str(invoice["recipient"]["reference"]).partition("/")[0]


def reasons(invoice: Json) -> set[str]:
    """Why the client pays, of all lines."""
    parts = [p for i in invoice["lineItem"] for x in i["extension"] for p in x.get("extension", [])]
    return {p["valueString"] for p in parts if p["url"] == "payer-reason"}


def test_b25_the_insurer_pays_up_to_the_amount_and_the_client_the_rest(counter: Counter) -> None:
    one = Insured(counter, authorised(amount="100.00", start="2026-11-01", end="2026-11-30"))
    _, (claim, rest) = one.finished(note("doppler"), note("cystocentesis"))  # 55.20, 42.00 and 33.60, tax included
    assert (whom(claim), lines(claim)) == ("Organization", {"fluid-check": ("1", "46.00"), "doppler": ("1", "35.00")})
    assert (whom(rest), lines(rest)) == ("RelatedPerson", {"cystocentesis": ("1", "28.00")})
    why = "Pre-authorisation PA-7 holds 100.00 EUR, of which 100.00 EUR were left; with this it would pay 130.80 EUR."
    assert reasons(rest) == {why}
    assert f"The client pays Ultrasound-guided cystocentesis. {why}" in one.said["warning"]


def test_b25_what_is_left_counts_every_invoice_and_credit_under_the_number(counter: Counter) -> None:
    one = Insured(counter, authorised(amount="100.00"))
    exam, (claim,) = one.finished()
    assert whom(claim) == "Organization"
    assert claim["recipient"]["display"] == "Invented Mutual"  # the cover says no more than which Organization
    assert faults(claim) == []
    held = next(x for x in claim["extension"] if x["url"] == uris.X_COVER)
    assert held["valueReference"]["reference"] == f"Coverage/{one.cover}"
    by_hand = {"resourceType": "Invoice", "status": "issued", "subject": {"reference": f"Patient/{one.id}"}}
    counter.post({**by_hand, "recipient": {"reference": f"Organization/{one.insurer}"}})  # of others
    _, (second,) = one.finished()  # 55.20 again: 110.40 would be too much
    assert whom(second) == "RelatedPerson"
    why = "Pre-authorisation PA-7 holds 100.00 EUR, of which 44.80 EUR were left; with this it would pay 55.20 EUR."
    assert reasons(second) == {why}
    counter.credit(exam)
    assert whom(one.finished()[1][0]) == "Organization"


def test_a_pre_authorisation_that_could_not_be_kept_is_refused_with_all_that_is_wrong(counter: Counter) -> None:
    one = Insured(counter)
    odd = authorised("PA-8", scope=("doppler", "fulll"), amount="-1")
    misspelt = {"url": uris.X_AUTHORISATION, "extension": [{"url": "number", "valueString": "PA-9"}]}
    misspelt["extension"] += [{"url": "ammount", "valueMoney": {"value": Decimal(5), "currency": "EUR"}}]
    misspelt["extension"] += [{"url": "amount", "valueString": "5 EUR"}, {"url": "scope", "valueString": "full"}]
    refused = counter.http.post("/fhir/Coverage", content=exact.encode(one.coverage(odd, misspelt)))
    told = {issue["expression"][0]: issue["details"]["text"] for issue in refused.json()["issue"]}
    assert refused.status_code == 422
    place = "Coverage.extension"
    assert told.keys() == {
        f"{place}[0].extension[2].value",
        f"{place}[0].extension[3].value.value",
        f"{place}[1].extension[1].url",
        f"{place}[1].extension[2].value",
        f"{place}[1].extension[3].value",
    }
    assert told[f"{place}[0].extension[2].value"].startswith("fulll is no charge code; it can be call-out, ")
    assert "above zero, not -1" in told[f"{place}[0].extension[3].value.value"]


@pytest.mark.parametrize(
    ("amount", "currency", "place", "words", "status"),
    [
        ("0", "EUR", "value.value", "above zero, not 0", 422),
        ("1000000000", "EUR", "value.value", "is below 1,000,000,000", 422),
        ("1.005", "EUR", "value.value", "more digits than EUR has (2)", 422),
        ("5", "", "value.currency", "needs its currency", 422),
        ("5", "ISK", "value.currency", "", 201),
        ("5", "ZZZ", "value.currency", '"ZZZ" is not one of AED', 400),  # R4 binds it to ISO 4217
    ],
)
def test_a_pre_authorised_amount_is_money(
    counter: Counter, amount: str, currency: str, place: str, words: str, status: int
) -> None:
    held = authorised(amount=amount)
    held["extension"][-1]["valueMoney"] = {"value": Decimal(amount), **({"currency": currency} if currency else {})}
    answer = counter.http.post("/fhir/Coverage", content=exact.encode(Insured(counter).coverage(held)))
    assert answer.status_code == status, answer.text
    for issue in answer.json().get("issue", []):
        assert issue["expression"] == [f"Coverage.extension[0].extension[1].{place}"]
        assert words in issue["details"]["text"]


def test_a_pre_authorised_period_does_not_end_before_it_starts(counter: Counter) -> None:
    one = Insured(counter)
    turned = one.coverage(authorised(start="2026-12-01", end="2026-11-30"))
    refused = counter.http.post("/fhir/Coverage", content=exact.encode(turned))
    assert refused.status_code == 400  # R4's own per-1
    assert refused.json()["issue"][0]["expression"] == ["Coverage.extension[0].extension[1].value"]
    same_day = one.coverage(authorised(start="2026-12-01", end="2026-12-01", scope=("full", "claim-admin")))
    assert counter.http.post("/fhir/Coverage", content=exact.encode(same_day)).status_code == 201


@pytest.mark.full
def test_b25_one_that_ended_or_is_for_another_cover_leaves_it_to_the_client(counter: Counter) -> None:
    one = Insured(counter, authorised(end="2026-11-24"))
    _, (bill,) = one.finished()
    assert (whom(bill), reasons(bill)) == ("RelatedPerson", {"Pre-authorisation PA-7 ended on 2026-11-24."})
    other = counter.post(one.coverage(authorised("PA-8")))["id"]
    _, (unsaid,) = one.finished()
    assert whom(unsaid) == "RelatedPerson"
    assert next(iter(reasons(unsaid))).startswith("The animal has several covers")
    _, (said,) = one.finished(insurance=[{"reference": f"Coverage/{other}"}])
    assert whom(said) == "Organization"


def test_a_pre_authorisation_without_its_number_or_its_insurer_is_refused(counter: Counter) -> None:
    one = Insured(counter)
    nameless = {"url": uris.X_AUTHORISATION, "extension": [{"url": "scope", "valueCode": "full"}]}
    given = one.coverage(nameless, payor=[{"reference": f"Patient/{one.id}"}])
    refused = counter.http.post("/fhir/Coverage", content=exact.encode(given))
    places = [issue["expression"][0] for issue in refused.json()["issue"]]
    assert refused.status_code == 400
    assert any("number" in place for place in places), places
    assert any("payor" in place for place in places), places


def test_b25_exams_that_finish_at_once_never_spend_one_amount_twice(counter: Counter) -> None:
    one = Insured(counter, authorised(amount="110.40"))  # two fluid checks
    ready = [counter.scanned(animal=one.animal, owners=owners) for owners in (1, 0, 0, 0)]
    with ThreadPoolExecutor(4) as pool:
        bills = [counter.get(said["invoice"][0]) for said in pool.map(counter.finish, ready)]
    assert sorted(map(whom, bills)) == ["Organization"] * 2 + ["RelatedPerson"] * 2


@pytest.mark.full
def test_b25_thirty_exams_at_once_spend_what_is_held_and_not_a_cent_more(counter: Counter) -> None:
    one = Insured(counter, authorised(amount="552.00"))  # ten fluid checks
    ready = [counter.scanned(animal=one.animal, owners=0 if n else 1) for n in range(30)]
    with ThreadPoolExecutor(15) as pool:
        bills = [counter.get(said["invoice"][0]) for said in pool.map(counter.finish, ready)]
    assert sorted(map(whom, bills)) == ["Organization"] * 10 + ["RelatedPerson"] * 20
    assert sum(b["totalGross"]["value"] for b in bills if whom(b) == "Organization") == Decimal("552.00")
