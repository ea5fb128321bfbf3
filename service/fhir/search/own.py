"""Our own search parameters where R4 has none, composites by their parts, and the own date of each type."""

from service.fhir import uris
from service.fhir.types import STORABLE

_URL = f"{uris.BASE}/SearchParameter/"
_OBSERVATION = f"{uris.SEARCH_PARAMETER}Observation-"

Pair = tuple[str, str, str]
"""(element that holds both or "" for the resource itself, parameter of the code, parameter of the value)"""


def _own(type_: str, code: str, kind: str, path: str, *targets: str) -> dict[str, object]:
    row: dict[str, object] = {"url": f"{_URL}{type_}-{code}", "code": code, "base": [type_], "type": kind}
    return row | {"expression": path, "target": list(targets)}


OWN = (
    _own("ChargeItem", "status", "token", "ChargeItem.status"),
    _own("ChargeItem", "definition", "uri", "ChargeItem.definitionUri | ChargeItem.definitionCanonical"),
    _own("Invoice", "charge-item", "reference", "(Invoice.lineItem.chargeItem as Reference)", "ChargeItem"),
    _own("DiagnosticReport", "imaging-study", "reference", "DiagnosticReport.imagingStudy", "ImagingStudy"),
    _own("Task", "due", "date", "Task.restriction.period.end"),
    _own("Task", "output", "reference", "(Task.output.value as Reference)", *sorted(STORABLE)),
)


def _composite(code: str, *pairs: Pair) -> tuple[str, str, tuple[Pair, ...]]:
    return code, f"{_OBSERVATION}{code}", pairs


_WHOLE_CONCEPT, _WHOLE_QUANTITY = ("", "code", "value-concept"), ("", "code", "value-quantity")
_PART_CONCEPT = ("component", "component-code", "component-value-concept")
_PART_QUANTITY = ("component", "component-code", "component-value-quantity")
_RELATION = ("relatesTo", "relation", "relatesto")

COMPOSITES: dict[str, tuple[tuple[str, str, tuple[Pair, ...]], ...]] = {
    "DocumentReference": (("relationship", f"{uris.SEARCH_PARAMETER}DocumentReference-relationship", (_RELATION,)),),
    "Observation": (
        _composite("code-value-concept", _WHOLE_CONCEPT),
        _composite("code-value-date", ("", "code", "value-date")),
        _composite("code-value-quantity", _WHOLE_QUANTITY),
        _composite("code-value-string", ("", "code", "value-string")),
        _composite("combo-code-value-concept", _WHOLE_CONCEPT, _PART_CONCEPT),
        _composite("combo-code-value-quantity", _WHOLE_QUANTITY, _PART_QUANTITY),
        _composite("component-code-value-concept", _PART_CONCEPT),
        _composite("component-code-value-quantity", _PART_QUANTITY),
    ),
}
"""type -> (parameter, definition, pairs any of which must hold)."""

# The date that puts the newest first among resources of one key.
OWN_DATE: dict[str, str] = {
    "Appointment": "date",
    "AuditEvent": "date",
    "ChargeItem": "occurrence",
    "Communication": "sent",
    "Composition": "date",
    "Condition": "recorded-date",
    "Consent": "date",
    "DiagnosticReport": "date",
    "DocumentReference": "date",
    "Encounter": "date",
    "Flag": "date",
    "ImagingStudy": "started",
    "Invoice": "date",
    "Media": "created",
    "Observation": "date",
    "Procedure": "date",
    "Provenance": "recorded",
    "ServiceRequest": "authored",
    "Task": "authored-on",
}
