"""Invoices, credits and charges as resources: valid R4 by two outside readers, exact both ways, nothing clinical."""

import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from decimal import Decimal

import pytest

from service.basics.errors import Invalid
from service.basics.money import Currency
from service.billing.charge import Charge, Identity
from service.billing.credit import credit
from service.billing.exam_facts import ExamFacts
from service.billing.invoice import Invoice, Payer
from service.fhir import exact, uris
from service.fhir.reading.charge import read_charge
from service.fhir.reading.invoice import money, read_invoice
from service.fhir.writing import charge as charge_writing
from service.fhir.writing.invoice import invoice as write
from tests.builders.money import CURRENCIES, faults, invoice
from tests.builders.survey import mappings

CAUTION = "Care does not depend on payment."
NOW = "2026-11-25T10:00:00.000Z"


def credited(one: Invoice) -> Invoice:
    back = credit(one, [], id_="credit-1", number="2026-000002", issued=NOW)
    assert back is not None
    return back


INVOICES = [
    invoice(18000, 2500),
    invoice(1003, 1003, 1003, rounding="line"),
    invoice(1, rates=("5.5",)),
    invoice(20000, currency=Currency("JPY", 0)),
    invoice(12345, 1, currency=Currency("BHD", 3), rates=("0", "20.0")),
    credited(invoice(18000, 2500)),
    credited(invoice(1003, 1003, rounding="line")),
    replace(
        invoice(500), language="de-AT", payer=Payer("Organization/o-1", "Clinic", "Way 1\n1010 Nowhere", "ATU00000000")
    ),
]


@pytest.mark.parametrize("one", INVOICES)
def test_an_invoice_is_valid_and_reads_back_the_same(one):
    resource = write(one, organization="blue", notes=[CAUTION], words=mappings().invoice_words["de"])
    assert faults(resource) == []
    text = exact.encode(resource)
    assert read_invoice(exact.decode(text), CURRENCIES) == one
    assert exact.encode(exact.decode(text)) == text


def test_the_figures_on_the_wire_have_the_digits_of_their_currency():
    text = exact.encode(write(invoice(1003, 1003, 1003), organization="blue")).decode()
    assert '"totalNet":{"value":30.09,"currency":"EUR"}' in text
    assert '"totalGross":{"value":36.11,"currency":"EUR"}' in text  # tax 6.02 by group: EN 16931 BR-CO-17
    assert '"factor":0.20,"amount":{"value":6.02,"currency":"EUR"}' in text
    yen = exact.encode(write(invoice(20000, currency=Currency("JPY", 0)), organization="blue")).decode()
    assert '"totalGross":{"value":24000,"currency":"JPY"}' in yen
    dinar = exact.encode(write(invoice(12340, currency=Currency("BHD", 3)), organization="blue")).decode()
    assert '"totalNet":{"value":12.340,"currency":"BHD"}' in dinar


def test_b30_a_line_names_animal_date_performer_and_exam():  # B30
    resource = write(invoice(18000), organization="blue")
    parts = {e["url"]: e for e in resource["lineItem"][0]["extension"][0]["extension"]}
    assert parts["animal"]["valueString"] == "Bramble & Co"
    assert parts["exam-date"]["valueDate"] == "2026-11-24"
    assert parts["performer"]["valueString"] == "Dr. S. Probe"
    assert parts["exam"]["valueReference"] == {"reference": "Task/exam-1"}
    assert resource["lineItem"][0]["chargeItemReference"]["reference"] == "ChargeItem/charge-1"
    assert resource["identifier"] == [{"system": f"{uris.INVOICE_NUMBER}/blue", "value": "2026-000001"}]
    assert resource["recipient"]["reference"] == "RelatedPerson/owner-1"


def test_a_credit_names_the_invoice_and_each_of_its_lines_with_turned_signs():  # B08
    resource = write(credited(invoice(18000, 2500)), organization="blue", notes=["Wrong animal"])
    credits = [e["valueReference"] for e in resource["extension"] if e["url"] == uris.X_CREDITS]
    assert credits == [{"reference": "Invoice/invoice-1", "display": "2026-000001"}]
    for number, (item, net) in enumerate(zip(resource["lineItem"], ("-180.00", "-25.00"), strict=True), start=1):
        assert item["extension"][1] == {"url": uris.X_CREDITED_LINE, "valuePositiveInt": number}
        base = item["priceComponent"][0]
        assert (base["factor"], str(base["amount"]["value"])) == (Decimal(-1), net)
    assert str(resource["totalGross"]["value"]) == "-246.00"
    assert resource["type"]["coding"][0]["code"] == "credit"
    assert resource["status"] == "issued"


def test_the_narrative_is_well_formed_escaped_and_prints_a_credit_with_positive_amounts():
    # EN 16931: a document of type 381 states positive amounts; that it is a credit note turns the sign
    for one, title in ((invoice(18000), "Invoice"), (credited(invoice(18000)), "Credit note")):
        div = write(one, organization="blue", notes=[CAUTION], words=mappings().invoice_words["en"])["text"]["div"]
        tree = ElementTree.fromstring(div)
        words = " ".join(t.strip() for t in tree.itertext())
        assert {e.tag.rpartition("}")[2] for e in tree.iter()} <= {"div", "h1", "p", "table", "tr", "th", "td"}
        assert f"{title} {one.number}" in words
        assert "180.00 EUR" in words
        assert "216.00 EUR" in words
        assert "-" + "180.00" not in words
        assert "Line <1>" in words
        assert CAUTION in words


def test_b18_an_amount_with_more_digits_than_its_currency_is_refused():  # B18
    for value, code in ((Decimal("1234.5"), "JPY"), (Decimal("1.001"), "EUR"), (Decimal(1), "XXX")):
        with pytest.raises(Invalid):
            money({"value": value, "currency": code}, CURRENCIES)
    assert money({"value": Decimal("10.0"), "currency": "JPY"}, CURRENCIES).minor == 10


CHARGE = Charge("charge-1", Identity("order-1", "full", "blue", 2), "Full survey", "planned")


def item(requester: str = "") -> dict:
    return charge_writing.charge_item(
        CHARGE, exam="exam-1", procedure="procedure-1", animal="animal-1", now=NOW, requester=requester
    )


def test_a_charge_is_valid_and_reads_back_the_same():
    resource = item()
    assert faults(resource) == []
    assert read_charge(exact.decode(exact.encode(resource))) == CHARGE
    assert resource["identifier"][0]["value"] == "order-1|full|blue|2"
    assert "priceOverride" not in resource
    assert read_charge({**resource, "identifier": [{"system": "urn:x", "value": "7"}]}) is None


def test_a_charge_moves_and_keeps_its_notes():
    facts = ExamFacts(started="2026-11-25T09:00:00Z", performer="Practitioner/p", performer_name="Dr. S. Probe")
    once = charge_writing.moved(item("Organization/clinic"), "billable", now=NOW, why="first")
    twice = charge_writing.performed(charge_writing.moved(once, "billed", now=NOW, why="second"), facts)
    assert faults(twice) == []
    assert [n["text"] for n in twice["note"]] == ["first", "second"]
    assert (twice["status"], once["status"]) == ("billed", "billable")
    assert twice["performer"] == [{"actor": {"reference": "Practitioner/p", "display": "Dr. S. Probe"}}]
    assert twice["requestingOrganization"] == {"reference": "Organization/clinic"}
    assert "requestingOrganization" not in item("PractitionerRole/r")
    nameless = charge_writing.performed(item(), replace(facts, started="", performer="", performer_name=""))
    assert not {"performer", "occurrenceDateTime"} & nameless.keys()
