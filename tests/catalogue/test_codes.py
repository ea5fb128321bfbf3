"""Codes of others, against the packages and examples that carry them."""

import csv
import io
import json
import os
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from pydicom.sr._concepts_dict import concepts
from ucumvert import PintUcumRegistry

from service.catalogue.check_digits import well_formed
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.fhir import uris

SCHEMES = {"sct": "SCT", "ln": "LN", "dcm": "DCM"}
EXAMPLES = Path(os.environ.get("HL7_EXAMPLES") or Path(__file__).parents[3] / "shared" / "fhir-r4-examples")
# grade A by FHIR R4's own value sets (valuesets.json, read there): DICOM PS3.16 does not carry them
BY_FHIR = {
    ("sct", "419161000"): "Unilateral left",
    ("sct", "419465000"): "Unilateral right",
    ("ln", "24558-9"): "Abdomen US",
    ("ln", "30704-1"): "Abdomen US limited",
    ("ln", "29463-7"): "Body Weight",
}


def outside_rows() -> Iterator[tuple[str, dict[str, str]]]:
    for name, text in read_folder().items():
        for number, row in enumerate(csv.DictReader(io.StringIO(text)), 2):
            if row.get("system") in SCHEMES and row.get("code"):
                yield f"{name}:{number}", row


def dicom_meanings() -> dict[tuple[str, str], set[str]]:
    """Code -> meanings in the context groups of DICOM PS3.16, as pydicom ships them."""
    found: dict[tuple[str, str], set[str]] = {}
    for scheme, keywords in concepts.items():
        for codes in keywords.values():
            for code, (meaning, _) in codes.items():
                found.setdefault((scheme, code), set()).add(meaning)
    return found


def test_every_code_of_grade_a_stands_in_dicom_ps3_16_under_the_name_we_show() -> None:
    meanings = dicom_meanings()
    wrong = []
    for place, row in outside_rows():
        key = (row["system"], row["code"])
        names = {BY_FHIR[key]} if key in BY_FHIR else meanings.get((SCHEMES[key[0]], key[1]), set())
        if row.get("grade", "A") == "A" and row.get("display", row.get("report_display")) not in names:
            wrong.append(f"{place}: {row['code']} {row['display']} is not {sorted(names)}")
    assert wrong == []
    assert sum(1 for _ in outside_rows()) > 150


def test_codes_of_lower_grade_say_so_and_are_few() -> None:
    lower = {row["code"] for _, row in outside_rows() if row.get("grade", "A") != "A"}
    assert lower == {"45036003", "418394000", "18639004", "9846003", "40133006", "66051006"}


@pytest.mark.skipif(not EXAMPLES.is_dir(), reason=f"no HL7 R4 examples at {EXAMPLES} (set HL7_EXAMPLES)")
@pytest.mark.parametrize(
    ("example", "system", "code", "display"),
    [
        ("DiagnosticReport-ultrasound", uris.SCT, "45036003", "Ultrasonography of abdomen"),
        ("ImagingStudy-example-xr", uris.SCT, "419161000", "Unilateral left"),
        ("Observation-example", uris.LOINC, "29463-7", "Body Weight"),
        ("Patient-animal", "http://hl7.org/fhir/animal-species", "canislf", "Dog"),
        ("ServiceRequest-lipid", uris.IDENTIFIER_TYPE, "PLAC", None),
    ],
)
def test_codes_that_dicom_lacks_stand_in_hl7s_examples(example: str, system: str, code: str, display: str) -> None:
    def codings(value: object) -> Iterator[tuple[object, object, object]]:
        if isinstance(value, dict):
            yield value.get("system"), value.get("code"), value.get("display")
        for part in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
            yield from codings(part)

    text = (EXAMPLES / f"{example}.json").read_text(encoding="utf-8")
    assert (system, code, display) in list(codings(json.loads(text)))


def test_check_digits_find_every_single_slip() -> None:
    """Verhoeff (SNOMED CT) and Luhn (LOINC) find every single wrong digit; Verhoeff every swap of neighbours too."""
    for system, code in (("sct", "10200004"), ("sct", "1142228004"), ("ln", "59089-3")):
        assert well_formed(system, code)
        for place, digit in enumerate(code):
            slips = [d for d in "0123456789" if d != digit] if digit != "-" else []
            assert not any(well_formed(system, code[:place] + d + code[place + 1 :]) for d in slips), (code, place)
    assert not well_formed("sct", "12000004")
    assert not well_formed("ln", "59089")
    assert well_formed("dcm", "anything")


@pytest.mark.parametrize(
    ("scheme", "system", "slips"),
    [
        ("SCT", "sct", {"115347700"}),
        # an empty code, NCI codes filed under LOINC, and a slip for 11524-6
        ("LN", "ln", {"", "11524-0", "C74569", "C74570", "C74571", "C74572", "C74573", "C74574"}),
    ],
)
def test_the_codes_of_dicom_pass_but_for_its_known_slips(scheme: str, system: str, slips: set[str]) -> None:
    """Some 8,000 SNOMED CT and 700 LOINC codes of PS3.16 (2024c), as pydicom ships them."""
    codes = {code for found, code in dicom_meanings() if found == scheme}
    assert len(codes) > 700
    assert {c for c in codes if not well_formed(system, c)} == slips


def test_units_are_ucum_and_their_factors_are_right() -> None:
    registry = PintUcumRegistry()
    for (unit, sent), factor in load(read_folder()).units.items():
        if "{" in unit + sent:  # annotations carry no dimension
            assert factor == 1
            continue
        one = registry.from_ucum(sent)
        assert Decimal(str(round(one.to(registry.from_ucum(unit).units).magnitude, 9))) == factor, (unit, sent)


def test_every_measure_has_a_unit_that_ucum_knows() -> None:
    registry = PintUcumRegistry()
    for rule in load(read_folder()).measures.values():
        assert registry.from_ucum(rule.unit) is not None


def test_our_systems_are_those_of_the_fhir_room() -> None:
    systems = load(read_folder()).systems
    assert systems == {
        "sct": uris.SCT,
        "ln": uris.LOINC,
        "dcm": uris.DCM,
        "ucum": uris.UCUM,
        "animal-species": "http://hl7.org/fhir/animal-species",
        "v2-0203": uris.IDENTIFIER_TYPE,
        "structure": uris.STRUCTURE,
        "measure": uris.MEASURE,
        "attribute": uris.ATTRIBUTE,
        "finding": uris.FINDING,
        "note": uris.NOTE,
        "plane": uris.PLANE,
        "service": uris.SERVICE,
        "surgery": uris.SURGERY,
    }
