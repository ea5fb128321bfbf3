"""The resource types that are served and what may be done to each."""

DIRECTORY = frozenset(
    {"Device", "Endpoint", "Location", "Organization", "Patient", "Practitioner", "PractitionerRole", "RelatedPerson"}
)
"""Types that can be deleted while nothing refers to them."""

GUARDED = frozenset({"ChargeItem", "DiagnosticReport", "Invoice", "Observation", "Task"})
"""Types whose update by id needs If-Match."""

SERVED = tuple(
    sorted(
        DIRECTORY
        | GUARDED
        | {
            "Account",
            "Appointment",
            "Binary",
            "BodyStructure",
            "Communication",
            "Composition",
            "Condition",
            "Consent",
            "Coverage",
            "DocumentReference",
            "Encounter",
            "Flag",
            "ImagingStudy",
            "Media",
            "Procedure",
            "Provenance",
            "ServiceRequest",
            "Specimen",
            "Subscription",
        }
    )
)
KNOWN = frozenset(SERVED)
