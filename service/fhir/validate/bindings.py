"""The required binding of an element -> the schema of what may stand there."""

from typing import Any

from service.fhir import uris
from service.fhir.definitions import Element
from service.fhir.validate.currencies import CURRENCIES

Schema = dict[str, Any]
Codes = dict[str, list[tuple[str, tuple[str, ...]]]]  # value set -> (system, codes)

MIME = "_mime"
_MIMES = f"{uris.HL7_VALUE_SET}mimetypes|4.0.1"
_CURRENCIES = f"{uris.HL7_VALUE_SET}currencies|4.0.1"
_TOKEN = r"[A-Za-z0-9!#$%&'*+.^_`|~\-]+"  # RFC 9110's
_VALUE = rf'(?:{_TOKEN}|"[^"\\]*")'
_TYPE = rf"{_TOKEN}/{_TOKEN}(?: ?; ?{_TOKEN}={_VALUE})*"
_SHORT = "json|xml|ttl"  # R4's own short names of its formats

# What the value set of mime types means by one
MIME_TYPE: Schema = {"type": "string", "pattern": f"^(?:{_TYPE}|{_SHORT})$"}

# What every code of UCUM keeps to: printable ASCII without spaces, annotations closed
UCUM_CODE: Schema = {
    "if": {"properties": {"system": {"const": uris.UCUM}}, "required": ["system", "code"]},
    "then": {"properties": {"code": {"pattern": r"^(?:[!-z|~]|\{[!-z|~]*\})+$"}}},
    "$comment": "ucum: a code of UCUM has no spaces, and its braces are closed",
}


def bound(element: Element, type_: str, codes: Codes) -> Schema | None:
    """The schema of one value; None when no binding is required, or its codes are not known."""
    binding = element.get("binding", {})
    if binding.get("strength") != "required":
        return None
    value_set = binding.get("valueSet", "")
    if value_set == _MIMES:
        return {"$ref": f"#/$defs/{MIME}"}
    if value_set == _CURRENCIES:
        return {"type": "string", "enum": list(CURRENCIES)}
    return _of_codes(type_, codes.get(value_set, []))


def _of_codes(type_: str, sets: list[tuple[str, tuple[str, ...]]]) -> Schema | None:
    if sets and type_ in ("code", "string", "uri"):
        return {"type": "string", "enum": sorted({code for _, codes in sets for code in codes})}
    if sets and type_ == "CodeableConcept":
        one = {"anyOf": [{"properties": _coding(system, codes), "required": ["code"]} for system, codes in sets]}
        coded: Schema = {"properties": {"coding": {"contains": one}}, "required": ["coding"]}
        return {"$ref": f"#/$defs/{type_}", **coded}
    return None


def _coding(system: str, codes: tuple[str, ...]) -> Schema:
    return {"system": {"const": system}, "code": {"enum": list(codes)}}
