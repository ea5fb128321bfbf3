"""The printed form of an invoice: the facts that EN 16931 asks for, in two languages, and figures that add up.

The rules are named as EN 16931's validation artefacts name them; how a language writes figures is the Unicode locale
data's (CLDR 47 and later, "Number patterns" and "Date formats"), written out here by hand."""

from dataclasses import replace
from decimal import Decimal

import pytest

from service.basics.money import Currency, Money
from service.billing.plain_figures import PlainFigures
from service.billing.sheet import Sheet
from service.fhir.printing.figures import LocalFigures
from tests.builders.bill_sheets import eur, shown, taken_back, whole
from tests.builders.survey import mappings

EN, DE = (mappings().invoice_words[language] for language in ("en", "de"))


def value(text: str) -> Decimal:
    return Decimal(text.removesuffix(" EUR"))


def totals(sheet: Sheet) -> dict[str, Decimal]:
    return {fact.label: value(fact.text) for fact in (*sheet.totals, sheet.due)}


@pytest.mark.parametrize("credit", [False, True])
def test_what_is_printed_adds_up_as_en_16931_asks(credit: bool) -> None:
    sheet = shown(taken_back(whole()) if credit else whole(), figures=PlainFigures())
    sums = totals(sheet)
    entries = sum(value(entry.net) for entry in sheet.entries)
    due = sums[EN["due-credit" if credit else "due-invoice"]]
    assert entries == sums[EN["total-net"]] == sum(value(one.base) for one in sheet.taxes)  # BR-CO-10, -13, BR-S-08
    assert sums[EN["total-tax"]] == sum(value(one.tax) for one in sheet.taxes)  # BR-CO-14
    assert sums[EN["total-gross"]] == sums[EN["total-net"]] + sums[EN["total-tax"]]  # BR-CO-15
    assert due == sums[EN["total-gross"]] + sums[EN["cash-rounding"]]  # BR-CO-16
    assert due == Decimal("1819.47")  # 1,732.05 + 87.44 - 0.02, reckoned by hand: 20 % of 416.25, 7.5 % of 55.80


def test_a_credit_note_states_positive_amounts_and_names_the_invoice() -> None:
    sheet = shown(taken_back(whole()), figures=PlainFigures(), notes=["Wrong animal"])
    assert (sheet.title, sheet.number) == ("Credit note", "2026-000043")
    assert ("Credits invoice", "2026-000042") in [(f.label, f.text) for f in sheet.facts]  # BT-25
    negative = [e.text for e in sheet.entries if e.net.startswith("-")]
    assert negative == ["Discount: Agreed"]
    assert all(not one.base.startswith("-") and not one.tax.startswith("-") for one in sheet.taxes)
    assert [entry.quantity for entry in sheet.entries if entry.number] == ["1", "3", *["1"] * 6]
    assert sheet.payment == ()  # nobody has a credit to pay
    assert sheet.notes[1:] == ("Reason: Wrong animal",)


def test_why_a_credit_was_made_stands_behind_a_label_and_the_notes_of_others_do_not() -> None:
    notes = ["Falsches Tier {amount}", "So wie immer"]
    assert shown(taken_back(whole()), language="de", notes=notes).notes[1:] == (
        *("Grund: Falsches Tier {amount}", "So wie immer"),
    )
    assert shown(whole(), notes=["As agreed"]).notes[1:] == ("As agreed",)


def test_seller_buyer_dates_and_exam_are_on_it() -> None:
    sheet = shown(whole(), language="en-GB")
    assert (sheet.seller.name, *sheet.seller.lines) == (  # BT-27, BG-5, BT-31
        *("Quillfold Imaging", "1 Example Lane", "1234 Nowhere", "Tax number: TAX-0001"),
    )
    assert (sheet.buyer.name, *sheet.buyer.lines) == (  # BT-44, BG-8, BT-48
        *("Invented Clinic", "12 Invented Street", "1234 Nowhere", "Tax number: TAX-0002"),
    )
    assert {f.label: f.text for f in sheet.facts} == {  # BT-2, BT-72
        "Date of issue": "25 November 2026",
        "Date of supply": "24 November 2026",
    }
    assert {f.label: f.text for f in sheet.exam} == {  # B30
        "Animal": "Bramble",
        "Examined on": "24 November 2026",
        "Performed by": "Dr. S. Probe",
        "Examination": "exam-1",
    }
    assert {f.label: f.text for f in sheet.payment} == {"Terms of payment": "14 days net", "Bank account": "Bank 0001"}


def test_each_rate_of_tax_says_its_category_and_why_none_is_due() -> None:
    found = {(one.category, one.rate, one.reason) for one in shown(whole(), figures=PlainFigures()).taxes}
    assert found == {
        ("Taxed", "20 %", ""),  # BR-S-10: no reason
        ("Taxed", "7.5 %", ""),
        ("Exempt from tax", "0 %", "Agreed"),  # BR-E-10
        ("Not subject to VAT", "", "Agreed"),  # BR-O-05: no rate; BR-O-10
        ("Reverse charge", "0 %", "Agreed"),  # BR-AE-10
    }


def test_a_line_says_how_its_amount_came_about() -> None:
    remarks = {entry.number: entry.remarks for entry in shown(whole()).entries}
    assert remarks["2"] == ("€45.00 each",)
    assert remarks["4"] == ("25% of €185.00",)  # B21
    assert remarks["5"] == ("Outside fee", "€60.00 with tax")  # B22, B17
    assert remarks["8"] == ("Authorised by the insurer under PA-7",)  # B25
    assert remarks["1"] == remarks["6"] == ()
    shown_price = replace(whole().lines[4], discount=eur(-500), discount_reason="Agreed")
    first, off = shown(replace(whole(), lines=(shown_price,))).entries
    assert (first.net, off.net) == ("55.00", "-5.00")
    assert (first.remarks, off.remarks) == (("Outside fee",), ("€60.00 with tax",))  # what is paid is 60.00


@pytest.mark.parametrize("status", ["cancelled", "entered-in-error", "balanced"])
def test_a_state_that_asks_for_no_payment_is_told(status: str) -> None:
    assert shown(whole(), status=status, language="de").notices == (DE[f"notice-{status}"],)
    assert shown(whole()).notices == ()


def test_an_estimate_is_no_invoice_and_says_so() -> None:
    sheet = shown(replace(whole(), number=""), estimate=True, language="en-GB")
    assert (sheet.heading, sheet.due.label) == ("Estimate", "Expected in all")
    assert sheet.notices == (EN["notice-estimate"],)
    assert sheet.payment == ()
    assert [f.label for f in sheet.facts] == ["Date of issue"]  # nothing has been supplied
    assert [f.label for f in sheet.exam] == ["Animal", "Performed by", "Examination"]
    assert shown(whole(), estimate=True, status="cancelled").notices == (EN["notice-replaced"],)


def test_german_is_printed_as_german_is_written() -> None:
    sheet = shown(whole(), language="de")
    assert (sheet.title, sheet.facts[0].text) == ("Rechnung", "25. November 2026")
    assert sheet.due.text == "1.819,47\u00a0€"
    assert {one.rate for one in sheet.taxes} == {"20\u00a0%", "7,5\u00a0%", "0\u00a0%", ""}
    assert sheet.entries[-2].net == "1.234,00"
    assert shown(taken_back(whole()), language="de").title == "Rechnungskorrektur"


@pytest.mark.parametrize(
    ("language", "currency", "written"),
    [
        ("en", Currency("EUR", 2), "-€12,345.67"),
        ("de", Currency("EUR", 2), "-12.345,67\u00a0€"),
        ("de-AT", Currency("EUR", 2), "-€\u00a012.345,67"),
        ("de-CH", Currency("CHF", 2), "CHF-12’345.67"),
        ("de", Currency("JPY", 0), "-1.234.567\u00a0¥"),
        ("en", Currency("BHD", 3), "-BHD\u00a01,234.567"),
        ("en", Currency("RSD", 2), "-RSD\u00a012,345.67"),  # ISO 4217 has two digits, shops use none
        ("xx-YY", Currency("EUR", 2), "-€12,345.67"),
        ("de-QQ", Currency("EUR", 2), "-12.345,67\u00a0€"),
    ],
)
def test_an_amount_has_the_digits_of_its_currency_in_any_language(
    language: str, currency: Currency, written: str
) -> None:
    assert LocalFigures(language).amount(Money(-1234567, currency)) == written


def test_no_digit_of_a_quantity_or_rate_is_rounded_away() -> None:
    figures = LocalFigures("de")
    assert figures.number(Decimal("0.001")) == "0,001"
    assert figures.number(Decimal("12345.6789")) == "12.345,6789"
    assert figures.percent(Decimal("7.7")) == "7,7\u00a0%"
    assert figures.percent(Decimal("0.125")) == "0,125\u00a0%"
    assert figures.figure(Money(5, Currency("EUR", 2))) == "0,05"
    assert figures.day("no day") == "no day"
