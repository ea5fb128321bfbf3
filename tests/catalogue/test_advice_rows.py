"""Words that stand for measured bands, and prompts, as shipped and when a row is wrong."""

from decimal import Decimal

import pytest

from service.catalogue.catalogue import Catalogue
from service.catalogue.check import faults
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.exam.rules import Value
from service.fhir import uris


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load(read_folder())


def fitting(catalogue: Catalogue, word: str, measure: str, *, species: str, reading: str) -> set[str]:
    """The values of an attribute ("gallbladder.content") whose bands hold a reading."""
    vocabulary, _, key = word.partition(".")
    attribute = next(a for a in catalogue.vocabularies[vocabulary] if a.key == key)
    return {v.code for v in attribute.values if _holds(v, measure, species, Decimal(reading))}


def _holds(value: Value, measure: str, species: str, reading: Decimal) -> bool:
    return any(b.measure == measure and b.species in {"both", species} and b.holds(reading) for b in value.bands)


def test_the_bands_of_sludge_have_no_gap_and_do_not_overlap(catalogue: Catalogue) -> None:
    for tenth in range(1001):
        share = str(Decimal(tenth) / 10)
        found = fitting(catalogue, "gallbladder.content", "sludge-share", species="dog", reading=share)
        assert len(found) == 1, share


@pytest.mark.parametrize(
    ("share", "word"),
    [
        ("24.9", "mild"),
        ("25", "moderate"),
        ("49.9", "moderate"),
        ("50", "modsevere"),
        ("74.9", "modsevere"),
        ("75", "severe"),
        ("100", "severe"),
    ],
)
def test_the_ends_of_the_bands_of_sludge(catalogue: Catalogue, share: str, word: str) -> None:
    """DeMonaco 2015 prints 24.4, 49.4 and 74.4 as upper ends; rounded to half-open bands of a quarter each."""
    found = fitting(catalogue, "gallbladder.content", "sludge-share", species="dog", reading=share)
    assert found == {f"sludge-{word}"}


@pytest.mark.parametrize(
    ("species", "width", "words"),
    [
        ("dog", "3.8", {"not-dilated", "minimal"}),  # d'Anjou 2011, RP-D-1: normal function up to 3.8 mm
        ("dog", "3.81", {"mild"}),
        ("cat", "3.2", {"not-dilated", "minimal"}),  # d'Anjou 2011, RP-C-1: normal function up to 3.2 mm
        ("cat", "3.3", {"mild"}),
        ("dog", "5.99", {"mild"}),
        ("dog", "6", {"moderate"}),
        ("cat", "12.9", {"moderate"}),
        ("cat", "13", {"marked"}),  # d'Anjou 2011, RP-X-1: 13 mm and more in obstruction
        ("dog", "76.2", {"marked"}),
    ],
)
def test_a_renal_pelvis_within_the_normal_range_is_not_dilated(
    catalogue: Catalogue, species: str, width: str, words: set[str]
) -> None:
    assert fitting(catalogue, "kidney.pelvis", "pelvis-width", species=species, reading=width) == words


def test_every_prompt_speaks_of_words_that_are_there(catalogue: Catalogue) -> None:
    keys = {p.key for p in catalogue.prompts}
    assert {"absent-unexplained", "wide-duct", "sludge-moves", "content-stays"} <= keys
    files = read_folder()
    files["prompts.csv"] = files["prompts.csv"].replace("mobility=immobile", "mobility=frozen")
    assert any("prompts.csv" in f and "mobility=frozen" in f for f in faults(files))


def test_a_wrong_band_is_told_with_its_line() -> None:
    files = read_folder()
    files["bands.csv"] += (
        "kidney,pelvis,vast,pelvis-width,both,,,9,,nowhere\nkidney,size,normal,girth,dog,,1,,,nowhere\n"
    )
    told = "\n".join(faults(files))
    assert "kidney.pelvis.vast is not in findings.csv" in told
    assert "begins either above or at a number" in told
    assert 'kidney has no measure "girth"' in told


def test_a_translation_changes_words_and_no_code(catalogue: Catalogue) -> None:
    assert catalogue.translations[uris.STRUCTURE, "spleen"] == (("de", "Milz"),)
    known = {uris.STRUCTURE: set(catalogue.structures), uris.ATTRIBUTE: _attributes(catalogue)}
    known[uris.FINDING] = {
        f"{name}.{a.key}.{v.code}" for name, many in catalogue.vocabularies.items() for a in many for v in a.values
    }
    for system, code in catalogue.translations:
        assert code in known[system]
    files = read_folder()
    files["translations.csv"] += "sct,78961009,de,Milz,nowhere\n"
    assert any("translations.csv" in f and "none of ours" in f for f in faults(files))


def _attributes(catalogue: Catalogue) -> set[str]:
    return {a.key for attributes in catalogue.vocabularies.values() for a in attributes}
