"""Bad bodies get an OperationOutcome with 4xx for less than a second's work; nothing is stored, memory is bounded."""

from contextlib import suppress

import httpx
import pytest

from tests.api.besieged import FHIR, GROWTH, Besieged
from tests.builders import bad_input as bad

PATCH = {"Content-Type": "application/json-patch+json"}


@pytest.fixture
def doors(besieged: Besieged) -> list[tuple[str, str]]:
    """Everywhere a body goes that is JSON."""
    return [
        ("POST", "/fhir/Patient"),
        ("POST", "/fhir/Observation"),
        ("POST", "/fhir"),
        ("PUT", besieged.patient),
        ("PUT", "/fhir/Patient?identifier=urn:x|y"),
        ("POST", "/fhir/Task/x/$finish"),
        ("POST", "/fhir/Observation/$lastn"),
    ]


EMPTY = {b"", b" \r\n\t "}


@pytest.mark.parametrize(
    "kind", ["DEEP", pytest.param("WIDE", marks=pytest.mark.full), "LETTERS", "NUMBERS", "NOT_JSON"]
)
def test_a_text_that_is_no_resource(besieged: Besieged, doors: list[tuple[str, str]], kind: str) -> None:
    for text in getattr(bad, kind).values():
        for method, path in doors:
            if text not in EMPTY or "$" not in path:  # an operation may come without a body
                besieged.refuses(method, path, text, FHIR)
    besieged.unchanged()


@pytest.mark.parametrize("name", bad.BUNDLES)
def test_a_bundle_that_is_none(besieged: Besieged, name: str) -> None:
    besieged.refuses("POST", "/fhir", bad.BUNDLES[name], FHIR)
    besieged.unchanged()


@pytest.mark.parametrize("name", bad.PATCHES)
def test_a_patch_that_is_none(besieged: Besieged, name: str) -> None:
    besieged.refuses("PATCH", besieged.patient, bad.PATCHES[name], PATCH)
    besieged.unchanged()


@pytest.mark.parametrize("name", bad.MEDIA)
def test_a_type_that_is_not_taken(besieged: Besieged, doors: list[tuple[str, str]], name: str) -> None:
    media, body = bad.MEDIA[name]
    for method, path in [*doors, ("PATCH", besieged.patient)]:
        besieged.refuses(method, path, body, {"Content-Type": media})
    besieged.unchanged()


@pytest.mark.parametrize("name", bad.ENCODED)
def test_a_body_that_is_packed(besieged: Besieged, doors: list[tuple[str, str]], name: str) -> None:
    encoding, body = bad.ENCODED[name]
    for method, path in doors:
        besieged.refuses(method, path, body, FHIR | {"Content-Encoding": encoding})
    besieged.unchanged()


def test_a_text_of_50_megabytes(besieged: Besieged, doors: list[tuple[str, str]]) -> None:
    whole = b"".join(bad.endless(50))
    for method, path in doors:
        for sent in (whole, lambda: bad.endless(50)):  # with its length, and in chunks
            with suppress(httpx.WriteError, httpx.RemoteProtocolError):  # it may hang up before all is sent
                besieged.refuses(method, path, sent, FHIR)
    besieged.unchanged()


def test_a_gzip_file_without_saying_so(besieged: Besieged) -> None:
    besieged.refuses("POST", "/fhir/Patient", bad.ENCODED["a gzip bomb"][1], FHIR)
    besieged.unchanged()


def test_memory_is_flat_at_the_end(besieged: Besieged) -> None:
    assert besieged.grown() < GROWTH
