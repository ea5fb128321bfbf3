"""The R4 types this service keeps."""

STORABLE: frozenset[str] = frozenset(
    {
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
    }
)

DIRECTORY: frozenset[str] = frozenset(
    {
        "Device",
        "Endpoint",
        "Location",
        "Organization",
        "Patient",
        "Practitioner",
        "PractitionerRole",
        "RelatedPerson",
    }
)
"""Those of them that can be deleted while nothing refers to them."""

DEFINITIONS: frozenset[str] = frozenset(
    {
        "CapabilityStatement",
        "ChargeItemDefinition",
        "CodeSystem",
        "ConceptMap",
        "OperationDefinition",
        "PlanDefinition",
        "SearchParameter",
        "StructureDefinition",
        "ValueSet",
    }
)
"""The R4 types that this service gives of itself and its catalogue; nobody stores them."""

# Types whose update by id needs If-Match: what was read may have been decided upon since.
GUARDED = frozenset({"ChargeItem", "DiagnosticReport", "Invoice", "Observation", "Task"})
