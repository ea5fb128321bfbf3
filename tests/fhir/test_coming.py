"""What is declared to come along with a search, against the targets of R4's own reference parameters."""

import json
import os
from pathlib import Path
from typing import Any

import pytest

from service.fhir import search
from service.fhir.search.asked import BadValue
from service.fhir.search.coming import include, included, referring
from service.fhir.search.own import OWN
from service.fhir.types import STORABLE

FOLDER = Path(os.environ.get("R4_DEFINITIONS") or Path(__file__).parents[3] / "shared" / "fhir-r4-definitions")
KEPT = sorted(STORABLE - {"AuditEvent"})
LEFT_OUT = {"instantiates-canonical", "assessed-condition"}  # lead to definitions, which nobody stores; is an extension

needs_hl7 = pytest.mark.skipif(
    not FOLDER.is_dir() and not os.environ.get("REQUIRE_OUTSIDE"),
    reason="HL7's R4 definitions are not here: set R4_DEFINITIONS to their folder",
)


def _theirs() -> list[tuple[str, str, frozenset[str]]]:
    """(type, parameter, targets) of every reference parameter of what is kept, R4's and our own."""
    lines = (FOLDER / "search-parameters.ndjson").read_text(encoding="utf-8").splitlines()
    every: list[dict[str, Any]] = [*map(json.loads, lines), *OWN]
    return [
        (base, one["code"], frozenset(one.get("target", ())))
        for one in every
        if one["type"] == "reference" and one["code"] not in LEFT_OUT and "/example" not in one["url"]
        for base in one["base"]
        if base in KEPT
    ]


@needs_hl7
def test_they_are_r4s() -> None:
    theirs = _theirs()
    assert {one for type_ in KEPT for one in included(type_)} == {f"{type_}:{code}" for type_, code, _ in theirs}
    for target in KEPT:
        assert set(referring(target)) == {f"{type_}:{code}" for type_, code, leads in theirs if target in leads}


def test_what_is_declared_is_understood_and_what_is_not_is_refused() -> None:
    for type_ in KEPT:
        for name in (*included(type_), *referring(type_)):
            assert include("_include", name, reverse=False, iterate=False).type == name.partition(":")[0]
        for wrong in (f"{type_}:_id", f"{type_}:nonsense", "Colour:subject", "AuditEvent:entity", "*", ""):
            with pytest.raises(BadValue):
                include("_include", wrong, reverse=False, iterate=False)
    for wrong in ("Observation:subject:Colour", "Observation:subject:AuditEvent", "Observation:subject:Media"):
        with pytest.raises(BadValue):
            include("_include", wrong, reverse=False, iterate=False)


def test_nothing_comes_with_the_audit() -> None:
    assert included("AuditEvent") == referring("AuditEvent") == ()
    assert search.rows()["AuditEvent"]
