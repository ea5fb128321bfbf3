"""The generated schema -> what checks a resource of any R4 type, compiled once when first needed."""

from functools import cache
from importlib.resources import files
from typing import Any

import jsonschema_rs

from service.fhir import exact
from service.fhir.types import STORABLE

FILE = "schema.json"

Schema = dict[str, Any]

# Compiled together; the other types of R4 cost as much memory again and come only inside others, so they wait.
USUAL = STORABLE | {"Bundle", "OperationOutcome", "Parameters"}


def read() -> dict[str, Schema]:
    """name -> schema of every type, data type and backbone element, as generated."""
    found: dict[str, Schema] = exact.decode(files("service.fhir.validate").joinpath(FILE).read_bytes())
    return found


@cache
def definitions() -> dict[str, Schema]:
    """The same, kept: for explaining faults."""
    return read()


def types() -> frozenset[str]:
    """Every resource type of R4."""
    return _all_types()


@cache
def _all_types() -> frozenset[str]:
    return frozenset(definitions()["_resource"]["properties"]["resourceType"]["enum"])


def prepare() -> None:
    """Compile what the usual types need, so that the first request does not wait for it."""
    _compiled(usual=True)


def validator(type_: str) -> Any | None:
    """What checks {type_: resource}; None when R4 has no such type."""
    if type_ in USUAL:
        return _compiled(usual=True)
    return _compiled(usual=False) if type_ in _all_types() else None


@cache
def _compiled(*, usual: bool) -> Any:
    found = read()
    wanted = USUAL if usual else _all_types() - USUAL
    by_type = {type_: {"$ref": f"#/$defs/{type_}"} for type_ in wanted}
    return jsonschema_rs.validator_for({"properties": by_type, "$defs": found})
