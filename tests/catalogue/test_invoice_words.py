"""The words of a printed invoice: every language has all of them, and each fills its places."""

from string import Formatter

from service.billing.invoice_words import PLACES, spoken
from service.catalogue.check import faults
from service.catalogue.files import read_folder
from service.catalogue.load import load, overlaid
from service.fhir.writing.invoice_line import CATEGORIES

FILE = "invoice-words.csv"
FILES = read_folder()


def told(before: str, after: str) -> list[str]:
    assert before in FILES[FILE]
    return faults({**FILES, FILE: FILES[FILE].replace(before, after, 1)})


def test_english_and_german_have_every_phrase_and_fill_its_places() -> None:
    words = load(FILES).invoice_words
    assert {"en", "de"} <= set(words)
    for text_by_key in words.values():
        assert set(text_by_key) == set(PLACES)
        for key, text in text_by_key.items():
            assert {name for _, name, _, _ in Formatter().parse(text) if name} == PLACES[key]


def test_every_category_of_tax_has_its_words() -> None:
    assert {f"tax-{category}" for category in CATEGORIES} == {key for key in PLACES if key.startswith("tax-")} - {
        "tax-number"
    }


def test_the_standard_texts_are_those_of_en_16931() -> None:
    """As the validation artefacts of EN 16931 quote them in BR-O-10, BR-AE-10, BR-IC-10 and BR-G-10."""
    words = load(FILES).invoice_words["en"]
    assert words["tax-O"].lower() == "not subject to vat"
    assert words["tax-AE"] == "Reverse charge"
    assert words["tax-K"] == "Intra-community supply"
    assert words["tax-G"] == "Export outside the EU"


def test_what_would_be_printed_wrong_is_told_by_its_line() -> None:
    assert told("en,page,Page {page} of {pages}", "en,page,Page {page}") == [
        f"{FILE}:58: page must say {{pages}}",
    ]
    assert told("en,due-invoice,Amount due", "en,dew,Amount due") == [
        f"{FILE}:0: en has no due-invoice",
        f"{FILE}:38: an invoice says no phrase dew",
    ]
    assert any("there is no place {sum}" in one for one in told("en,net,Net", "en,net,Net {sum}"))
    assert told("de,net,Netto", "fr,net,Net")[0] == f"{FILE}:0: de has no net"


def test_a_practice_can_have_a_language_and_words_of_its_own() -> None:
    head, *rows = FILES[FILE].splitlines()
    french = [row.replace("en,", "fr,", 1) for row in rows if row.startswith("en,")]
    own = "\n".join([head, *french, "en,title-invoice,Bill,our own word"]) + "\n"
    words = overlaid(FILES, {FILE: own}).invoice_words
    assert words["fr"]["title-invoice"] == "Invoice"
    assert words["en"]["title-invoice"] == "Bill"
    assert words["de"]["title-invoice"] == "Rechnung"


def test_the_nearest_language_that_has_words_is_spoken() -> None:
    words = {"en": {"a": "1"}, "de": {"a": "2"}, "de-CH": {"a": "3"}}
    assert [spoken(words, one) for one in ("de-AT", "de-CH", "de", "fr-CH", "en-GB", "")] == [
        ("de-AT", {"a": "2"}),
        ("de-CH", {"a": "3"}),
        ("de", {"a": "2"}),
        ("en", {"a": "1"}),
        ("en-GB", {"a": "1"}),
        ("en", {"a": "1"}),
    ]
