"""The compartments against R4's own CompartmentDefinitions, and every parameter of them is one that we search."""

import json
import os
from pathlib import Path

import pytest

from service.fhir import search
from service.fhir.compartments import ITSELF, compartments
from service.fhir.types import STORABLE

FOLDER = Path(os.environ.get("R4_DEFINITIONS") or Path(__file__).parents[3] / "shared" / "fhir-r4-definitions")


@pytest.mark.skipif(
    not FOLDER.is_dir() and not os.environ.get("REQUIRE_OUTSIDE"),
    reason="HL7's R4 definitions are not here: set R4_DEFINITIONS to their folder",
)
def test_they_are_r4s() -> None:
    lines = (FOLDER / "compartments.ndjson").read_text(encoding="utf-8").splitlines()
    theirs = {
        one["code"]: {e["code"]: e["param"] for e in one["resource"] if e.get("param") and e["code"] in STORABLE}
        for one in map(json.loads, lines)
    }
    assert compartments() == theirs


def test_each_parameter_is_offered() -> None:
    for holder, types in compartments().items():
        for type_, codes in types.items():
            known = {code for code, _, _ in search.parameters(type_)}
            assert set(codes) <= known | {ITSELF} or type_ == "AuditEvent", (holder, type_)
