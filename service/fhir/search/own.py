"""Our own search parameters where R4 has none, and where the own date of a resource stands."""

from service.fhir import uris
from service.fhir.types import STORABLE

_URL = f"{uris.BASE}/SearchParameter/"


def _own(type_: str, code: str, kind: str, path: str, *targets: str) -> dict[str, object]:
    row: dict[str, object] = {"url": f"{_URL}{type_}-{code}", "code": code, "base": [type_], "type": kind}
    return row | {"expression": path, "target": list(targets)}


OWN = (
    _own("ChargeItem", "status", "token", "ChargeItem.status"),
    _own("ChargeItem", "definition", "uri", "ChargeItem.definitionUri | ChargeItem.definitionCanonical"),
    _own("Invoice", "charge-item", "reference", "(Invoice.lineItem.chargeItem as Reference)", "ChargeItem"),
    _own("DiagnosticReport", "imaging-study", "reference", "DiagnosticReport.imagingStudy", "ImagingStudy"),
    _own("Task", "output", "reference", "(Task.output.value as Reference)", *sorted(STORABLE)),
)

# Where a resource's own date is read, first found: it puts the newest first among resources of one key.
OWN_DATE: dict[str, tuple[str, ...]] = {
    "Appointment": ("start",),
    "AuditEvent": ("recorded",),
    "ChargeItem": ("occurrenceDateTime", "occurrencePeriod", "enteredDate"),
    "Communication": ("sent", "received"),
    "Composition": ("date",),
    "Condition": ("recordedDate", "onsetDateTime"),
    "Consent": ("dateTime",),
    "DiagnosticReport": ("effectiveDateTime", "effectivePeriod", "issued"),
    "DocumentReference": ("date",),
    "Encounter": ("period",),
    "Flag": ("period",),
    "ImagingStudy": ("started",),
    "Invoice": ("date",),
    "Media": ("createdDateTime", "createdPeriod", "issued"),
    "Observation": ("effectiveDateTime", "effectivePeriod", "effectiveInstant", "issued"),
    "Procedure": ("performedDateTime", "performedPeriod"),
    "Provenance": ("recorded",),
    "ServiceRequest": ("authoredOn", "occurrenceDateTime"),
    "Specimen": ("receivedTime",),
    "Task": ("authoredOn",),
}
