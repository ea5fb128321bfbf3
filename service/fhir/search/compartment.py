"""Which search parameters put a resource into the compartment of a patient."""

from collections.abc import Mapping

PATIENT: Mapping[str, tuple[str, ...]] = {
    "Account": ("subject",),
    "Appointment": ("actor",),
    "BodyStructure": ("patient",),
    "ChargeItem": ("subject",),
    "Communication": ("subject", "sender", "recipient"),
    "Composition": ("subject", "author", "attester"),
    "Condition": ("patient", "asserter"),
    "Consent": ("patient",),
    "Coverage": ("policy-holder", "subscriber", "beneficiary", "payor"),
    "DiagnosticReport": ("subject",),
    "DocumentReference": ("subject", "author"),
    "Encounter": ("patient",),
    "Flag": ("patient",),
    "ImagingStudy": ("patient",),
    "Invoice": ("subject", "patient", "recipient"),
    "Media": ("subject",),
    "Observation": ("subject", "performer"),
    "Patient": ("link",),
    "Procedure": ("patient", "performer"),
    "Provenance": ("patient",),
    "RelatedPerson": ("patient",),
    "ServiceRequest": ("subject", "performer"),
    "Specimen": ("subject",),
}
"""Type -> the parameters of R4's CompartmentDefinition, of the types that are kept and searched as resources."""
