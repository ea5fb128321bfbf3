"""Outside opinions about a body: fhirkit-rs and the R4B models of fhir.resources."""

import json
from typing import Any

import fhirkit

from service.fhir import r4


def judge(text: bytes) -> dict[str, Any]:
    """The decoded body; fails when either judge finds an error in it."""
    decoded: dict[str, Any] = json.loads(text)
    errors = [f"{one.path}: {one.message}" for one in fhirkit.validate(text) if one.severity == "error"]
    assert errors == [], errors
    r4.model(decoded["resourceType"]).model_validate(decoded)
    return decoded
