"""Copies of HL7's R4 examples with one fault each are refused, every one, at the place of the fault."""

import os
from collections import Counter
from functools import cache
from pathlib import Path

import fhirkit
import iso4217
import pytest

from service.fhir import definitions, exact, r4, validate
from service.fhir.definitions import Definitions
from service.fhir.types import STORABLE
from service.fhir.validate.currencies import CURRENCIES
from tests.builders.r4_faults import Faulty, copies
from tests.builders.r4_whole import Whole

_SHARED = Path(__file__).parents[3] / "shared"
EXAMPLES = sorted(Path(os.environ.get("HL7_EXAMPLES") or _SHARED / "fhir-r4-examples").glob("*.json"))
DEFINITIONS = Path(os.environ.get("R4_DEFINITIONS") or _SHARED / "fhir-r4-definitions")
TURNS = 12  # a choice has at most so many types, but for a few that take any
KINDS = {
    "unknown element": 300,
    "missing required": 100,
    "code outside a binding": 90,
    "wrong JSON type": 700,
    "one for many, many for one": 500,
    "bad date": 80,
    "two choices": 25,
    "empty": 700,
    "bad id": 40,
    "active narrative": 2,
    "dangling link": 1,
    "link to a wrong type": 100,
    "value and absent reason": 6,
    "extension of both": 10,
    "comparator": 8,
    "contained in contained": 6,
    "period reversed": 18,
}  # the kinds of faults, and how many different copies there are at least

needs_hl7 = pytest.mark.skipif(
    not (EXAMPLES and DEFINITIONS.is_dir()) and not os.environ.get("REQUIRE_OUTSIDE"),
    reason="HL7's R4 examples and definitions are not here: set HL7_EXAMPLES and R4_DEFINITIONS",
)


@cache
def _definitions() -> Definitions:
    return definitions.read(DEFINITIONS)


def _unseen(faulty: Faulty) -> bool:
    return faulty.where not in [fault.where for fault in validate.check(faulty.resource)]


@pytest.mark.full
@needs_hl7
def test_every_element_of_the_examples_spoilt_in_every_way_once() -> None:
    """Each kind of fault at each element that any example has: the first copies of each."""
    made: Counter[tuple[str, str]] = Counter()
    told: Counter[str] = Counter()
    missed: list[tuple[str, str]] = []
    for path in EXAMPLES:
        for faulty in copies(_definitions(), exact.decode(path.read_bytes())):
            made[faulty.kind, faulty.key] += 1
            if made[faulty.kind, faulty.key] <= 2:
                told[faulty.kind] += 1
                missed += [(faulty.kind, faulty.where)] * _unseen(faulty)
    assert missed == []
    assert {kind: told[kind] for kind in KINDS if told[kind] < KINDS[kind]} == {}
    assert set(told) == set(KINDS)


@pytest.mark.full
@needs_hl7
@pytest.mark.parametrize("type_", sorted(STORABLE))
def test_every_element_of_what_is_stored(type_: str) -> None:
    """With all of them there it is valid, for fhirkit-rs and the models too, whichever type each choice has; and each
    spoilt in every way is told."""
    made: set[tuple[str, str]] = set()
    for turn in range(TURNS):
        whole = Whole(_definitions(), turn).resource(type_)
        assert validate.check(whole) == []
        assert [issue for issue in fhirkit.validate(exact.encode(whole)) if issue.severity == "error"] == []
        assert r4.model(type_).model_validate(whole)
        for faulty in copies(_definitions(), whole):
            if (faulty.kind, faulty.key) not in made:
                made.add((faulty.kind, faulty.key))
                assert not _unseen(faulty), (faulty.kind, faulty.where)
    assert len(made) > 50


@needs_hl7
@pytest.mark.full
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_every_copy_of_every_example(path: Path) -> None:
    missed = [
        (faulty.kind, faulty.where)
        for faulty in copies(_definitions(), exact.decode(path.read_bytes()))
        if _unseen(faulty)
    ]
    assert missed == []


def test_the_currencies_are_those_of_iso_4217() -> None:
    """The list of the maintenance agency as the package iso4217 carries it; what is more was withdrawn."""
    in_use = {currency.code for currency in iso4217.Currency}
    assert in_use <= set(CURRENCIES)
    assert len(set(CURRENCIES) - in_use) == 14


@pytest.mark.parametrize("code", CURRENCIES)
def test_every_currency_passes(code: str) -> None:
    price = {"value": 1, "currency": code}
    item = {"resourceType": "Invoice", "status": "draft", "totalNet": price}
    assert validate.check(item) == []


@pytest.mark.parametrize(
    ("kind", "right"),
    [
        ("image/png", True),
        ("text/html; charset=utf-8", True),
        ("application/fhir+json;fhirVersion=4.0", True),
        ('multipart/related; type="application/dicom"', True),
        ("json", True),
        ("png", False),
        ("image/", False),
        ("image/png;", False),
        ("image/png; charset", False),
        ("image/png, text/plain", False),
    ],
)
def test_a_mime_type_has_the_form_of_one(kind: str, right: bool) -> None:
    faults = validate.check({"resourceType": "Binary", "contentType": kind})
    assert [fault.where for fault in faults] == ([] if right else ["Binary.contentType"])
