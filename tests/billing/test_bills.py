"""A rich price list over HTTP on both engines: what an exam shows is priced, split, credited, billed anew, paid."""

from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

import httpx
import pytest
from fhirpathpy import evaluate
from fhirpathpy.models import models

from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.fhir import exact, uris
from service.joined import application
from service.store import SqlBooks
from tests.api.running import client, register, served
from tests.builders.counter import RICH, Counter, line, lines, note, told, weighs
from tests.builders.orders import concept

Json = dict[str, Any]
SATURDAY, NIGHT = "2026-11-28T10:00:00Z", "2026-11-25T19:00:00Z"


@pytest.fixture(scope="module")
def base(books: SqlBooks) -> Iterator[str]:
    rich = load({**read_folder(), "tariff.csv": RICH})
    with served(application(books, rich, base="http://127.0.0.1/fhir")) as url:
        yield url


@pytest.fixture
def at(books: SqlBooks, base: str, practice: Callable[..., str]) -> Iterator[Callable[..., Counter]]:
    opened: list[httpx.Client] = []

    def made(**settings: Any) -> Counter:
        slug = practice(**settings)
        opened.append(client(base, register(books, slug)))
        opened[-1].headers["Content-Type"] = "application/fhir+json"
        return Counter(books, slug, opened[-1])

    yield made
    for http in opened:
        http.close()


def money(text: str, currency: str = "EUR") -> Json:
    return {"value": Decimal(text), "currency": currency}


def test_b27_b22_what_was_done_is_charged_to_who_pays_it(at: Callable[..., Counter]) -> None:
    counter = at()
    done = [note("sample", site=s) for s in ("liver", "spleen", "spleen", "kidney_left")]
    more = [
        note("cystocentesis"),
        note("doppler"),
        note("image-export"),
        note("clipping"),
        note("drainage", valueBoolean=False),
    ]
    exam, said = counter.finished(*done, *more, note("sedation"), weighs(Decimal("9.9")))
    assert "unbilled" not in said
    client_, clinic = (counter.get(one) for one in said["invoice"])
    assert lines(client_) == {
        "fluid-check": ("1", "46.00"),
        "doppler": ("1", "31.50"),
        "sedation": ("1", "55.00"),
        "sample": ("2", "90.00"),  # three sites, two are charged
        "cystocentesis": ("1", "28.75"),  # 29.90 with 4 % of tax: 28.75 + 1.15
    }
    assert (client_["totalNet"], client_["totalGross"]) == (money("251.25"), money("296.90"))
    assert client_["recipient"]["reference"].startswith("RelatedPerson/")
    assert lines(clinic) == {"export": ("1", "15.00")}
    assert clinic["recipient"] == {"reference": clinic["recipient"]["reference"], "display": "Invented Clinic"}
    numbers = [one["identifier"][0]["value"] for one in (client_, clinic)]
    assert [n.partition("-")[2] for n in numbers] == ["000001", "000002"]
    sample = next(c for c in counter.charges(exam) if c["code"]["coding"][0]["code"] == "sample")
    assert (sample["quantity"]["value"], sample["status"]) == (3, "billed")
    assert any("at most 2" in n["text"] for n in sample["note"])
    assert "Discount: Introductory price" in client_["text"]["div"]


def test_b28_out_of_hours_is_a_share_with_its_base_and_the_slot_gives_way(at: Callable[..., Counter]) -> None:
    exam, said = (counter := at()).finished(note("doppler"), at=NIGHT, priority="urgent")
    invoice = counter.get(said["invoice"][0])
    assert lines(invoice) == {
        "fluid-check": ("1", "60.00"),
        "doppler": ("1", "31.50"),
        "out-of-hours": ("0.50", "45.75"),
    }
    share = next(c for i in invoice["lineItem"] for c in i["priceComponent"] if c["type"] == "surcharge")
    assert share["extension"][0]["valueMoney"] == money("91.50")
    states = {c["code"]["coding"][0]["code"]: c for c in counter.charges(exam)}
    assert states["urgent-fee"]["status"] == "not-billable"
    assert states["urgent-fee"]["note"][-1]["text"] == "Not charged together with out-of-hours."
    parts = invoice["lineItem"][0]["extension"][0]["extension"]
    assert next(p["valueCode"] for p in parts if p["url"] == "hours") == "out"


def test_priority_and_a_specialists_signature_are_charged_where_the_list_knows_them(at: Callable[..., Counter]) -> None:
    counter = at()
    grade = [{"code": concept(uris.GRADE, "specialist")}]
    reader = counter.post({"resourceType": "Practitioner", "name": [{"text": "Dr S. Pecial"}], "qualification": grade})
    signer = {"reference": f"Practitioner/{reader['id']}"}
    _, said = counter.finished(priority="stat", interpreter=signer)
    assert list(lines(counter.get(said["invoice"][0]))) == ["fluid-check", "urgent-fee", "specialist"]


def test_b10_sedation_without_a_weight_waits_and_is_billed_when_it_is_known(at: Callable[..., Counter]) -> None:
    counter = at()
    exam, said = counter.finished(note("sedation"))
    assert list(lines(counter.get(said["invoice"][0]))) == ["fluid-check"]
    assert "the animal's weight" in said["unbilled"][0]
    again = counter.operate(exam, "bill", by="A. Bookkeeper")
    assert "invoice" not in told(exact.decode(again.content))
    assert {c["status"] for c in counter.charges(exam)} == {"billed", "billable"}


def test_b08_b09_parts_are_credited_once_and_the_rest_can_be_billed_anew_once(at: Callable[..., Counter]) -> None:
    counter = at()
    exam, said = counter.finished(note("doppler"))
    first = counter.get(said["invoice"][0])
    part = line(1, amount=money("6.00"))
    one = counter.credit(exam, part)
    assert counter.credit(exam, part) == one  # the same request is the same credit
    paper = counter.get(one["credit"][0])
    assert (paper["totalNet"], paper["totalGross"]) == (money("-6.00"), money("-7.20"))
    assert "Credit note" in paper["text"]["div"]
    assert "-7.20" not in paper["text"]["div"]  # EN 16931, type 381: positive amounts
    assert paper["participant"] == [{"actor": {"display": "A. Bookkeeper"}}]
    refused = counter.operate(exam, "credit", line(1, amount=money("40.01")), line(9), reason="Agreed")
    texts = [i["details"]["text"] for i in refused.json()["issue"]]
    assert refused.status_code == 422
    assert len(texts) == 3, texts
    vast = [line(1, amount=money("1E+9")), line(1, amount={"value": Decimal(1)})]
    refused = counter.operate(exam, "credit", *vast, reason="Agreed", by="X")
    assert refused.status_code == 422
    assert [i["details"]["text"] for i in refused.json()["issue"]] == [
        "`amount` is below 1,000,000,000.",
        "`amount` is a Money with value and currency.",
    ]
    rest = counter.get(counter.credit(exam, reason="Wrong owner")["credit"][0])
    assert "<p>Reason: Wrong owner</p>" in rest["text"]["div"]
    gross = [p["totalGross"]["value"] for p in (first, paper, rest)]
    assert sum(gross) == 0
    assert {c["status"] for c in counter.charges(exam)} == {"entered-in-error"}
    assert counter.operate(exam, "credit", reason="Again", by="X").status_code == 409
    assert "invoice" not in told(exact.decode(counter.operate(exam, "bill", by="X").content))
    new = told(exact.decode(counter.operate(exam, "bill", by="X", again=True).content))["invoice"]
    assert counter.get(new[0])["totalGross"] == first["totalGross"]
    corrections = [
        c["identifier"][0]["value"].rpartition("|")[2] for c in counter.charges(exam) if c["status"] == "billed"
    ]
    assert corrections == ["1", "1"]
    assert told(exact.decode(counter.operate(exam, "bill", by="X", again=True).content))["invoice"] == new
    assert "invoice" not in told(exact.decode(counter.operate(exam, "bill", by="Y", again=True).content))
    assert counter.get(said["invoice"][0]) == first
    twice = counter.operate(exam, "credit", reason="Wrong owner", by="A. Bookkeeper")  # of the new one, or a repeat?
    assert twice.status_code == 409
    assert f"`invoice` ({new[0]})" in twice.text
    meant = {"name": "invoice", "valueReference": {"reference": new[0]}}
    last = counter.get(counter.credit(exam, meant, reason="Wrong owner")["credit"][0])
    assert last["totalGross"]["value"] == -first["totalGross"]["value"]
    assert "invoice" not in told(exact.decode(counter.operate(exam, "bill", by="X").content))  # none stands any more
    third = told(exact.decode(counter.operate(exam, "bill", by="X", again=True).content))["invoice"]
    assert third != new  # it was taken back since: that is no repeat
    assert told(exact.decode(counter.operate(exam, "bill", by="X", again=True).content))["invoice"] == third


def test_b09_what_is_paid_is_taken_in_and_nothing_else_of_an_invoice_is(at: Callable[..., Counter]) -> None:
    counter = at()
    exam, said = counter.finished()
    invoice = counter.get(said["invoice"][0])
    path = f"/fhir/{said['invoice'][0]}"

    def put(resource: Json) -> httpx.Response:
        tag = counter.http.get(path).headers["etag"]
        return counter.http.put(path, content=exact.encode(resource), headers={"If-Match": tag})

    for change in ({"status": "cancelled"}, {"status": "balanced", "totalGross": money("1.00")}, {"note": []}):
        assert put({**invoice, **change}).status_code in {400, 409, 422}
    assert put({**invoice, "status": "balanced"}).status_code == 200
    assert put(invoice).status_code == 409  # paid is paid
    assert counter.get(said["invoice"][0])["status"] == "balanced"
    paper = counter.get(counter.credit(exam)["credit"][0])
    assert paper["totalGross"]["value"] == -invoice["totalGross"]["value"]
    assert counter.get(said["invoice"][0])["status"] == "balanced"


def test_b31_a_visit_of_two_animals_is_two_exams_and_one_call_out(at: Callable[..., Counter]) -> None:
    counter = at()
    kind = {"system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "AMB"}
    visit = counter.post({"resourceType": "Encounter", "status": "in-progress", "class": kind})
    met = {"reference": f"Encounter/{visit['id']}"}
    bills = [counter.finished(note("call-out"), encounter=met) for _ in range(2)]
    shown = [list(lines(counter.get(said["invoice"][0]))) for _, said in bills]
    assert shown == [["fluid-check", "call-out"], ["fluid-check"]]
    assert counter.operate(bills[0][0], "withdraw", reason="Wrong animal", by="X").is_success
    again = counter.operate(bills[0][0], "withdraw", reason="Wrong owner", by="X")
    words = [i["details"]["text"] for i in again.json()["issue"]]
    assert (again.status_code, words) == (409, ["The exam was already withdrawn with other content."])
    later = told(exact.decode(counter.operate(bills[1][0], "bill", by="X").content))
    assert list(lines(counter.get(later["invoice"][0]))) == ["call-out"]


@pytest.mark.parametrize(("appointment", "fee"), [("2026-11-25T20:00:00Z", True), ("2026-11-27T20:00:00Z", False)])
def test_a_late_cancellation_costs_what_the_list_says(at: Callable[..., Counter], appointment: str, fee: bool) -> None:
    counter = at(noShowHours=24)
    request, exam, _ = counter.order(occurrenceDateTime=appointment)
    order = counter.get(f"ServiceRequest/{request}")
    tag = counter.http.get(f"/fhir/ServiceRequest/{request}").headers["etag"]
    revoked = exact.encode({**order, "status": "revoked"})
    assert counter.http.put(f"/fhir/ServiceRequest/{request}", content=revoked, headers={"If-Match": tag}).is_success
    states = {c["code"]["coding"][0]["code"]: c["status"] for c in counter.charges(exam)}
    assert states == {"fluid-check": "aborted", **({"no-show": "billed"} if fee else {})}
    found = exact.decode(counter.http.get("/fhir/Invoice").content).get("entry", [])
    assert [e["resource"]["totalGross"] for e in found] == ([money("25.00")] if fee else [])
    assert all("Compensation, not a supply" in e["resource"]["text"]["div"] for e in found)


def test_b15_rounding_to_coins_stands_on_the_invoice_as_its_own_amount(at: Callable[..., Counter]) -> None:
    counter = at(cashStep=1)
    exam, said = counter.finished(note("doppler"))  # 77.50 + 15.50 = 93.00
    assert counter.get(said["invoice"][0])["totalGross"] == money("93.00")
    exam, said = counter.finished(note("cystocentesis"))  # 46.00 + 9.20 + 29.90 = 85.10
    invoice = counter.get(said["invoice"][0])
    amounts = {x["url"]: x.get("valueMoney") for x in invoice["extension"]}
    assert (amounts[uris.X_CASH_ROUNDING], amounts[uris.X_DUE]) == (money("-0.10"), money("85.00"))
    assert invoice["totalGross"] == money("85.10")
    paper = counter.get(counter.credit(exam)["credit"][0])
    assert {x["url"]: x.get("valueMoney") for x in paper["extension"]}[uris.X_DUE] == money("-85.00")


def test_the_price_list_is_served_and_its_conditions_hold_for_what_was_charged(at: Callable[..., Counter]) -> None:
    counter = at()
    exam, _ = counter.finished(note("sedation"), weighs(Decimal("10")))
    item = next(c for c in counter.charges(exam) if c["code"]["coding"][0]["code"] == "sedation")
    found = exact.decode(counter.http.get("/fhir/ChargeItemDefinition", params={"_count": "100"}).content)["entry"]
    rows = {e["resource"]["id"]: e["resource"] for e in found}
    holding = {
        id_: all(
            evaluate(item, a["expression"], {"context": item}, models["r4"]) == [True] for a in one["applicability"]
        )
        for id_, one in rows.items()
        if id_.startswith("sedation") and "applicability" in one
    }  # judged by fhirpathpy, an implementation of FHIRPath that is not ours
    assert holding == {"sedation-small-2020-01-01": False, "sedation-large-2020-01-01": True}
    kinds = {id_: [c["type"] for c in one["propertyGroup"][0]["priceComponent"]] for id_, one in rows.items()}
    assert kinds["doppler-2020-01-01"] == ["base", "discount", "tax"]
    assert kinds["out-of-hours-2020-01-01"] == ["surcharge", "tax"]


def test_b04_while_anything_is_owed_nothing_is_billed(at: Callable[..., Counter]) -> None:
    counter = at()
    _, exam, _ = counter.order()
    refused = counter.operate(exam, "finish", interpreter="Dr I. Reader", conclusion="No abnormality seen.")
    assert refused.status_code == 422
    assert "entry" not in exact.decode(counter.http.get("/fhir/Invoice").content)
    assert {c["status"] for c in counter.charges(exam)} == {"planned"}
    assert counter.operate(exam, "bill", by="X").status_code == 409
    assert counter.operate(exam, "credit", by="X", reason="Too early").status_code == 409


def test_b29_nothing_clinical_stands_on_an_invoice(at: Callable[..., Counter]) -> None:
    counter = at()
    _, said = counter.finished(note("sample", site="liver"), note("sedation", valueString="butorphanol"))
    for reference in said["invoice"]:
        text = exact.encode(counter.get(reference)).decode().lower()
        for word in ("vomiting", "obstruction", "abnormality", "liver", "butorphanol"):
            assert word not in text
