"""Orders, reasons, prices and the words of the report, as shipped."""

from decimal import Decimal

import pytest

from service.billing.tariff import Tax
from service.catalogue.catalogue import Catalogue
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.fhir import uris


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load(read_folder())


def test_four_exams_can_be_ordered(catalogue: Catalogue) -> None:
    assert catalogue.orders == {
        (uris.SERVICE, "full"): "full",
        (uris.SCT, "45036003"): "full",
        (uris.SCT, "418394000"): "full",
        (uris.LOINC, "24558-9"): "full",
        (uris.SERVICE, "limited"): "limited",
        (uris.LOINC, "30704-1"): "limited",
        (uris.SERVICE, "recheck"): "recheck",
        (uris.SERVICE, "fluid-check"): "fluid-check",
    }
    assert {k for k, s in catalogue.services.items() if s.names_organs} == {"limited", "recheck"}
    assert "peritoneum" in catalogue.services["fluid-check"].structures
    assert catalogue.services["full"].report_code[0].code == "24558-9"


def test_every_exam_and_what_is_usually_added_has_a_price(catalogue: Catalogue) -> None:
    codes = {p.code for p in catalogue.prices}
    assert codes >= {s.charge for s in catalogue.services.values()}
    assert {t.charge for t in catalogue.triggers} - codes <= {"claim-admin"}
    assert codes - {s.charge for s in catalogue.services.values()} <= {t.charge for t in catalogue.triggers}
    supplied = [p for p in catalogue.prices if p.code != "no-show"]  # who does not come is supplied nothing
    assert {(p.tax, p.organization, p.unit.currency.code) for p in supplied} == {(Tax(Decimal(20)), "*", "EUR")}
    assert {p.code for p in catalogue.prices if p.kind == "exam"} == {s.charge for s in catalogue.services.values()}


def test_currencies_have_their_exponents(catalogue: Catalogue) -> None:
    """0, 2 and 3 digits as ISO 4217 has them for JPY, EUR and BHD."""
    assert [catalogue.currencies[c].exponent for c in ("JPY", "EUR", "BHD")] == [0, 2, 3]


def test_a_practice_without_a_row_has_neutral_settings(catalogue: Catalogue) -> None:
    practice = catalogue.practices["*"]
    assert (practice.zone, practice.currency.code, practice.stills_owed, practice.clips_owed) == (
        "UTC",
        "EUR",
        True,
        True,
    )
    assert practice.opening == ((480, 1080),) * 5 + (None, None)


def test_what_may_be_left_at_finish_and_what_it_does_to_the_price(catalogue: Catalogue) -> None:
    remaining = {r.code: r.price_effect for r in catalogue.reasons.values() if r.remaining}
    assert remaining == {"time-limited": "limited", "equipment": "none", "pain": "limited", "compliance": "limited"}


def test_no_person_can_give_a_reason_that_hides_an_owed_step(catalogue: Catalogue) -> None:
    assert {r.code for r in catalogue.reasons.values() if not r.dispositions} == {"not-examined", "not-requested"}
    assert not catalogue.reasons["not-examined"].counts_as_examined


def test_absence_after_surgery_needs_its_operation(catalogue: Catalogue) -> None:
    reason = catalogue.reasons["absent-surgical"]
    assert (reason.needs_detail, reason.dispositions) == (True, ("absent-surgical",))


def test_an_image_can_be_kept_on_the_scanner(catalogue: Catalogue) -> None:
    assert catalogue.reasons["kept-on-scanner"].dispositions == ("excused",)


def test_the_report_has_its_sections_in_order(catalogue: Catalogue) -> None:
    assert [key for key, _ in catalogue.sections] == [
        "identity",
        "question",
        "preparation",
        "limits",
        "findings",
        "comparison",
        "conclusion",
        "differentials",
        "recommendations",
        "procedures",
        "urgent",
        "signature",
        "images",
    ]


def test_all_cautions_are_there(catalogue: Catalogue) -> None:
    assert [c.id for c in catalogue.cautions] == [f"C{n:02}" for n in range(1, 25)]
    assert not any("[" in c.text for c in catalogue.cautions), "no blank is left to fill"


def test_only_the_placer_number_belongs_to_one_resource(catalogue: Catalogue) -> None:
    assert catalogue.unique_identifiers == {("ServiceRequest", "PLAC")}
