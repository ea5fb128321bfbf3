"""HL7's own R4 examples (CC0) are valid, come back digit for digit, and have search keys."""

import os
import re
from decimal import Decimal
from pathlib import Path
from typing import Any

import fhirkit
import pytest

from service.fhir import exact, r4, search, validate
from service.fhir.types import STORABLE

FOLDER = Path(os.environ.get("HL7_EXAMPLES") or Path(__file__).parents[3] / "shared" / "fhir-r4-examples")
FILES = sorted(FOLDER.glob("*.json"))

pytestmark = pytest.mark.skipif(
    not FILES and not os.environ.get("REQUIRE_OUTSIDE"),
    reason="HL7's R4 examples are not here: set HL7_EXAMPLES to their folder",
)

_NUMBER = re.compile(rb"(?<=[:\[, \n])-?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?(?=[,}\] \r\n])")

# The models are R4B's and lack what R4 allows: primitives in an extension's value that only carry extensions.
MODEL_REFUSES = re.compile(r"_value[A-Z]\w+\s+Extra inputs")


def _read(path: Path) -> Any:
    return exact.decode(path.read_bytes())


def test_they_are_all_here() -> None:
    assert len(FILES) >= 130
    assert len({_read(path)["resourceType"] for path in FILES} & STORABLE) >= 20


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_it_is_valid(path: Path) -> None:
    assert validate.check(_read(path)) == []


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_it_comes_back_digit_for_digit(path: Path) -> None:
    text, value = path.read_bytes(), _read(path)
    again = exact.encode(value)
    assert exact.decode(again) == value
    outside = re.sub(rb'"(?:[^"\\]|\\.)*"', b'""', text), re.sub(rb'"(?:[^"\\]|\\.)*"', b'""', again)
    numbers = [_NUMBER.findall(part) for part in outside]
    assert [Decimal(n.decode()).as_tuple() for n in numbers[0]] == [Decimal(n.decode()).as_tuple() for n in numbers[1]]


def test_other_checkers_agree() -> None:
    """fhirkit-rs finds no error in them; the R4B models refuse none but for the gap named above."""
    values = {path.stem: _read(path) for path in FILES}
    kit = [
        name
        for name, value in values.items()
        if any(i.severity == "error" for i in fhirkit.validate(exact.encode(value)))
    ]
    assert kit == []
    assert [name for name, value in values.items() if not _model_takes(value)] == []


def _model_takes(value: dict[str, Any]) -> bool:
    try:
        r4.model(value["resourceType"]).model_validate(value)
    except ValueError as error:
        return MODEL_REFUSES.search(str(error)) is not None
    return True


def test_those_we_store_can_be_found() -> None:
    """Each has keys, and each of its identifiers is among them (search form `identifier=value`)."""
    for path in FILES:
        value = _read(path)
        if value["resourceType"] not in STORABLE:
            continue
        keys = search.keys("o", value)
        marked = {mark.key for mark in keys.marks}
        given = value.get("identifier", [])
        for identifier in given if isinstance(given, list) else [given]:
            if "value" in identifier:
                asked = search.key("o", value["resourceType"], "identifier", identifier["value"])
                assert asked in marked, path
