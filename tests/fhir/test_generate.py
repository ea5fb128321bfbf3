"""The data files the service carries are what its definitions make of HL7's R4 definitions."""

import gzip
import os
from pathlib import Path

import pytest

from service.fhir import generate
from service.fhir.types import STORABLE
from service.fhir.validate import compiled

FOLDER = Path(os.environ.get("R4_DEFINITIONS") or Path(__file__).parents[3] / "shared" / "fhir-r4-definitions")


@pytest.mark.skipif(
    not FOLDER.is_dir() and not os.environ.get("REQUIRE_OUTSIDE"),
    reason="HL7's R4 definitions are not here: set R4_DEFINITIONS to their folder",
)
def test_generated_files_are_up_to_date() -> None:
    for path, content in generate.files(FOLDER).items():
        assert _plain(path.read_bytes()) == _plain(content), f"run: python -m service.fhir.generate {FOLDER}"


def _plain(content: bytes) -> bytes:
    """What was compressed, so that another zlib's way of packing makes no difference."""
    return gzip.decompress(content) if content.startswith(b"\x1f\x8b") else content


def test_every_type_of_r4_can_be_checked() -> None:
    """As many as the definitions have that are not abstract."""
    assert len(compiled.types()) == 146
    assert compiled.types() >= STORABLE


def test_what_is_not_r4_is_left_out() -> None:
    definitions = compiled.definitions()
    assert "url" not in definitions["Binary"]["properties"]
    assert "account" not in definitions["Meta"]["properties"]
    assert "valueCodeableReference" not in definitions["Extension"]["properties"]
