"""HL7's own R4 examples (CC0) are stored by an organisation of kind records and come back to the last digit."""

import json
import os
import uuid
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx
import pytest

from service.api.types import KNOWN, READ_ONLY
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.joined import application
from service.store import SqlBooks
from tests.api import running
from tests.api.conftest import JSON

FOLDER = Path(os.environ.get("HL7_EXAMPLES") or Path(__file__).parents[3] / "shared" / "fhir-r4-examples")
FILES = sorted(FOLDER.glob("*.json")) if FOLDER.is_dir() else []
OURS = [file for file in FILES if file.name.partition("-")[0] in KNOWN - READ_ONLY]

pytestmark = pytest.mark.skipif(
    not FILES and not os.environ.get("REQUIRE_OUTSIDE"),
    reason=f"HL7's examples are not at {FOLDER}; HL7_EXAMPLES may name their folder",
)


@pytest.fixture(scope="module")
def rest(module_books: SqlBooks) -> Iterator[httpx.Client]:
    token = running.register(module_books, f"records-{uuid.uuid4().hex[:12]}")
    app = application(module_books, load(read_folder()), base="http://sonoledger.example/fhir")
    with running.served(app) as url, running.client(url, token) as client:
        yield client


def digits(text: str) -> tuple[object, ...]:
    """A number to its last digit: 1.0 and 1.00 differ; 1E-7 and 0.0000001 are two spellings of the same digits."""
    return Decimal(text).as_tuple()


def exactly(text: bytes) -> dict[str, Any]:
    decoded: dict[str, Any] = json.loads(text, parse_float=digits, parse_int=digits)
    decoded.pop("id", None)
    kept = {k: v for k, v in decoded.pop("meta", {}).items() if k not in {"versionId", "lastUpdated"}}
    return decoded | {"meta": kept}


def test_there_are_examples_of_our_types() -> None:
    assert len(OURS) > 50


def test_examples_come_back_digit_by_digit(rest: httpx.Client) -> None:
    values = 0
    for file in OURS:
        sent = file.read_bytes()
        type_ = json.loads(sent)["resourceType"]
        made = rest.post(f"/fhir/{type_}", content=sent, headers=JSON)
        assert made.status_code == 201, (file.name, made.text[:500])
        read = rest.get(f"/fhir/{type_}/{made.json()['id']}")
        assert exactly(read.content) == exactly(sent), file.name
        values += sent.count(b'"value":')
    assert values > 20


def test_digits_are_told_apart_by_this_test() -> None:
    assert exactly(b'{"a":1.0}') != exactly(b'{"a":1.00}')
    assert exactly(b'{"a":1.0}') != exactly(b'{"a":1}')
    assert exactly(b'{"a":0.10}') == exactly(b'{"a":1.0E-1}')


def test_examples_of_other_types_are_refused_with_words(rest: httpx.Client) -> None:
    others = {file.name.partition("-")[0] for file in FILES} - KNOWN
    assert others
    for type_ in others - {"Bundle"}:
        answer = rest.post(f"/fhir/{type_}", json={"resourceType": type_}, headers=JSON)
        assert answer.status_code == 404
        assert type_ in answer.json()["issue"][0]["details"]["text"]
