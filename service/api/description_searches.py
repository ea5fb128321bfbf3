"""What a search of a type takes besides its criteria, as parameters of OpenAPI: page, order, part, what comes along."""

from typing import Any

from service.fhir.partial import elements
from service.fhir.search.coming import included, referring
from service.fhir.search.table import rows
from service.fhir.types import DEFINITIONS

Json = dict[str, Any]

_PAGE: Json = {"type": "integer", "minimum": 0}
_EMPTY = ""  # R4: a parameter without a value is as if it were not there
_SUMMARY: Json = {"type": "string", "enum": ["true", "text", "data", "count", "false", _EMPTY]}
_TOTAL: Json = {"type": "string", "enum": ["none", "estimate", "accurate", _EMPTY]}


def controls(type_: str) -> list[Json]:
    """The parameters, each with the values that it understands."""
    if type_ == "AuditEvent":  # its lines come newest first, whole, and alone
        return [_named("_count", _PAGE | {"minimum": 1})]
    found = [
        _named("_count", _PAGE),
        _named("_total", _TOTAL),
        _named("_summary", _SUMMARY),
        _several("_elements", sorted(elements(type_))),
    ]
    if type_ in DEFINITIONS:
        return found
    levels = ["_id", "_lastUpdated", *(row.code for row in rows()[type_].values() if row.kind != "composite")]
    found.append(_several("_sort", [f"{sign}{level}" for level in levels for sign in ("", "-")], most=5))
    coming = (("_include", included(type_)), ("_revinclude", referring(type_)))
    return found + [_repeated(name, list(values)) for name, values in coming if values]


def _named(name: str, schema: Json) -> Json:
    return {"name": name, "in": "query", "schema": schema}


def _several(name: str, values: list[str], *, most: int = 20) -> Json:
    """Values with commas between."""
    schema = {"type": "array", "items": {"type": "string", "enum": values}, "minItems": 1, "maxItems": most}
    return _named(name, schema) | {"style": "form", "explode": False}


def _repeated(name: str, values: list[str]) -> Json:
    """A parameter that may come several times."""
    schema = {"type": "array", "items": {"type": "string", "enum": values}, "minItems": 1}
    return _named(name, schema) | {"style": "form", "explode": True}
