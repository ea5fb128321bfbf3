"""The resource types that are served and what holds for each."""

GUARDED = frozenset({"ChargeItem", "DiagnosticReport", "Invoice", "Observation", "Task"})
"""Types whose update by id needs If-Match."""

READ_ONLY = frozenset({"AuditEvent"})
"""Types that only the service itself writes."""

SERVED = (
    "Account",
    "Appointment",
    "AuditEvent",
    "Binary",
    "BodyStructure",
    "ChargeItem",
    "Communication",
    "Composition",
    "Condition",
    "Consent",
    "Coverage",
    "Device",
    "DiagnosticReport",
    "DocumentReference",
    "Encounter",
    "Endpoint",
    "Flag",
    "ImagingStudy",
    "Invoice",
    "Location",
    "Media",
    "Observation",
    "Organization",
    "Patient",
    "Practitioner",
    "PractitionerRole",
    "Procedure",
    "Provenance",
    "RelatedPerson",
    "ServiceRequest",
    "Specimen",
    "Subscription",
    "Task",
)
"""Every type, sorted."""

KNOWN = frozenset(SERVED)
