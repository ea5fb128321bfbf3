"""The patient's compartment against R4's own CompartmentDefinition, and every parameter of it is one that we search."""

import json
import os
from pathlib import Path

import pytest

from service.fhir import search
from service.fhir.search.compartment import PATIENT
from service.fhir.types import STORABLE

FOLDER = Path(os.environ.get("R4_DEFINITIONS") or Path(__file__).parents[3] / "shared" / "fhir-r4-definitions")


@pytest.mark.skipif(
    not FOLDER.is_dir() and not os.environ.get("REQUIRE_OUTSIDE"),
    reason="HL7's R4 definitions are not here: set R4_DEFINITIONS to their folder",
)
def test_it_is_r4s() -> None:
    lines = (FOLDER / "compartments.ndjson").read_text(encoding="utf-8").splitlines()
    patient = next(one for one in map(json.loads, lines) if one["code"] == "Patient")
    theirs = {one["code"]: tuple(one["param"]) for one in patient["resource"] if one.get("param")}
    kept = STORABLE - {"AuditEvent"}  # the audit is no resource that is kept
    assert {type_: params for type_, params in theirs.items() if type_ in kept} == dict(PATIENT)


def test_each_parameter_is_offered() -> None:
    for type_, codes in PATIENT.items():
        assert set(codes) <= {code for code, _, _ in search.parameters(type_)}, type_
