"""The resource types that are served and what holds for each."""

from service.fhir.types import DEFINITIONS

GUARDED = frozenset({"ChargeItem", "DiagnosticReport", "Invoice", "Observation", "Task"})
"""Types whose update by id needs If-Match."""

READ_ONLY = frozenset({"AuditEvent"}) | DEFINITIONS
"""Types that only the service itself writes."""

SERVED = (
    "Account",
    "Appointment",
    "AuditEvent",
    "Binary",
    "BodyStructure",
    "CapabilityStatement",
    "ChargeItem",
    "ChargeItemDefinition",
    "CodeSystem",
    "Communication",
    "Composition",
    "ConceptMap",
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
    "OperationDefinition",
    "Organization",
    "Patient",
    "PlanDefinition",
    "Practitioner",
    "PractitionerRole",
    "Procedure",
    "Provenance",
    "RelatedPerson",
    "SearchParameter",
    "ServiceRequest",
    "Specimen",
    "StructureDefinition",
    "Subscription",
    "Task",
    "ValueSet",
)
"""Every type, sorted."""

KNOWN = frozenset(SERVED)
