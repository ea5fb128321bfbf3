"""Charges and invoice of a finished exam over HTTP: what the exam shows, at the price in force when it began."""

from decimal import Decimal
from typing import Any

import pytest

from service.fhir import uris
from tests.builders import orders
from tests.builders.instances import BILLING
from tests.builders.orders import concept
from tests.whole.telling import Desk, Exam, Json, charges, only, taken

WORKDAY = "2026-11-25T10:00:00Z"


def note(exam: Exam, code: str, **said: Any) -> Json:
    """An Observation about the exam as a whole."""
    whole = {
        "resourceType": "Observation",
        "status": "preliminary",
        "code": concept(uris.NOTE, code),
        "effectiveDateTime": exam.scanner.at,
    }
    return exam.scanner.about({**whole, **said})


def finished(desk: Desk, *notes: str, at: str = WORKDAY, owners: int = 1, **order: Any) -> tuple[Exam, Json]:
    """A quick exam that began at a time, and what finishing it answered."""
    whole = orders.bundle(owners=owners, **{"service": "fluid-check", **order})
    exam = desk.place(whole, at=at)
    for code in notes:
        assert desk.note(note(exam, code, valueString="given")).is_success
    desk.survey(exam)
    return exam, desk.finish(exam)


def lines(invoice: Json) -> dict[str, Decimal]:
    """Net amount by charge code."""
    found = {}
    for line in invoice["lineItem"]:
        parts = next(x["extension"] for x in line["extension"] if x["url"] == uris.X_LINE)
        code = next(p["valueCode"] for p in parts if p["url"] == "code")
        found[code] = next(c["amount"]["value"] for c in line["priceComponent"] if c["type"] == "base")
    return found


def test_the_invoice_carries_the_practice_the_payer_the_lines_and_exact_totals(desk: Desk) -> None:
    exam, told = finished(desk)
    invoice = desk.get(told["invoice"])
    assert lines(invoice) == {"fluid-check": Decimal("46.00")}
    assert str(lines(invoice)["fluid-check"]) == "46.00"
    totals = invoice["totalNet"], invoice["totalGross"]
    assert totals == ({"value": Decimal("46.00"), "currency": "EUR"}, {"value": Decimal("55.20"), "currency": "EUR"})
    assert [str(t["value"]) for t in totals] == ["46.00", "55.20"]
    seller = next(x["extension"] for x in invoice["extension"] if x["url"] == uris.X_SELLER)
    assert {p["url"]: p["valueString"] for p in seller}["tax-number"] == BILLING["taxNumber"]
    assert invoice["issuer"]["display"] == BILLING["legalName"]
    assert invoice["paymentTerms"] == BILLING["terms"]
    assert invoice["recipient"]["display"] == "R. Ownwell"
    assert only(invoice["identifier"])["value"].endswith("-000001")
    assert charges(desk, exam) == {"fluid-check": "billed"}


def test_numbers_follow_one_another_without_a_gap(desk: Desk) -> None:
    numbers = [desk.get(finished(desk)[1]["invoice"])["identifier"][0]["value"] for _ in range(3)]
    assert [n.partition("-")[2] for n in numbers] == ["000001", "000002", "000003"]


@pytest.mark.parametrize(("day", "price"), [("2026-06-30", "179.00"), ("2026-07-01", "185.00")])
def test_the_price_is_that_of_the_day_on_which_the_exam_began(desk: Desk, day: str, price: str) -> None:
    exam = desk.place(at=f"{day}T10:00:00Z")
    desk.survey(exam)
    invoice = desk.get(desk.finish(exam)["invoice"])
    assert lines(invoice) == {"full": Decimal(price)}


def test_doppler_and_sedation_are_add_ons_that_the_exam_shows(desk: Desk) -> None:
    exam, told = finished(desk, "doppler", "sedation")
    invoice = desk.get(told["invoice"])
    wanted = {"fluid-check": Decimal("46.00"), "doppler": Decimal("35.00"), "sedation": Decimal("62.00")}
    assert lines(invoice) == wanted
    assert invoice["totalNet"]["value"] == sum(wanted.values())
    assert charges(desk, exam) == dict.fromkeys(wanted, "billed")


@pytest.mark.parametrize(
    "value", [{"valueBoolean": False}, {"valueCodeableConcept": {"text": "none"}}, {"valueString": "No"}]
)
def test_what_is_said_not_to_have_been_done_is_not_charged(desk: Desk, value: Json) -> None:
    exam = desk.place(service="fluid-check")
    notes = [{"resourceType": "Observation", "status": "final", "code": concept(uris.NOTE, code), **value}
             for code in ("doppler", "sedation")]  # fmt: skip
    taken(desk.note(*(exam.scanner.about(one) for one in notes)))
    desk.survey(exam)
    assert set(lines(desk.get(desk.finish(exam)["invoice"]))) == {"fluid-check"}


def test_a_doppler_measurement_shows_doppler(desk: Desk) -> None:
    exam = desk.place()
    assert desk.note(exam.scanner.measured("kidney_left", "resistive-index", "0.62", unit="1")).is_success
    desk.survey(exam)
    assert set(lines(desk.get(desk.finish(exam)["invoice"]))) == {"full", "doppler"}


@pytest.mark.parametrize(
    ("zone", "at", "surcharge"),
    [
        ("UTC", "2026-11-25T17:59:59Z", False),
        ("UTC", "2026-11-25T18:00:00Z", True),
        ("UTC", "2026-11-28T10:00:00Z", True),  # a Saturday
        ("Europe/Vienna", "2026-11-25T17:30:00Z", True),  # 18:30 there
        ("Europe/Vienna", "2026-07-01T06:30:00Z", False),  # 08:30 there, in summer
    ],
)
def test_out_of_hours_is_judged_by_the_zone_of_the_practice(
    open_desk: Any, zone: str, at: str, surcharge: bool
) -> None:
    desk = open_desk({**BILLING, "zone": zone})
    _, told = finished(desk, at=at)
    assert ("out-of-hours" in lines(desk.get(told["invoice"]))) is surcharge


def test_without_a_price_the_charge_stays_billable_and_the_report_goes_out(desk: Desk) -> None:
    exam, told = finished(desk, at="2019-12-31T10:00:00Z")
    assert "invoice" not in told
    assert any("no price" in words for words in told["unbilled"])
    assert charges(desk, exam) == {"fluid-check": "billable"}
    (charge,) = desk.search("ChargeItem", status="billable")
    assert any("no price" in n["text"] for n in charge["note"])
    assert desk.get(told["report"])["status"] == "final"


@pytest.mark.parametrize("owners", [0, 2])
def test_without_a_clear_payer_the_charge_stays_billable(desk: Desk, owners: int) -> None:
    exam, told = finished(desk, owners=owners)
    assert "invoice" not in told
    assert any("who pays" in words for words in told["unbilled"])
    assert charges(desk, exam) == {"fluid-check": "billable"}
    assert desk.get(told["report"])["status"] == "final"


def test_without_a_billing_profile_nothing_is_invoiced(open_desk: Any) -> None:
    desk = open_desk(None)
    exam, told = finished(desk)
    assert "invoice" not in told
    assert any("billing profile" in words for words in told["unbilled"])
    assert charges(desk, exam) == {"fluid-check": "billable"}
    assert desk.counts("Invoice") == {"Invoice": 0}
