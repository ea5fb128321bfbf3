"""R4's own operations, as far as they are offered here."""

from service.fhir import uris
from service.fhir.operations.shape import INSTANCE, TYPE, Operation, given, taken

STANDARD: tuple[Operation, ...] = (
    Operation(
        "validate",
        "resource-validate",
        "Validate a resource",
        "Lists everything wrong with a resource; nothing is stored.",
        ("Resource",),
        TYPE | INSTANCE,
        (
            taken("resource", "Resource", "What is looked at.", need=1),
            taken("mode", "code", "create, update or delete: what is meant to be done with it."),
            taken("profile", "uri", "Judge by this profile besides."),
            given("OperationOutcome"),
        ),
        base=uris.VALIDATE,
    ),
    Operation(
        "everything",
        "patient-everything",
        "Everything about an animal",
        "The animal, all that is in its compartment, and whom and what these name. Types for which the token has no "
        "scope are left out, and an entry says so.",
        ("Patient",),
        INSTANCE,
        (
            taken("start", "date", "Care on or after this day; what bears no date of care is given too."),
            taken("end", "date", "Care on or before this day; what bears no date of care is given too."),
            taken("_since", "instant", "Only what was stored at or after this instant."),
            taken("_type", "code", "Only these types.", many=True),
            taken("_count", "integer", "How many matches a page has at most; what they name comes besides."),
            given("Bundle", "A searchset; follow its next link."),
        ),
        base=f"{uris.HL7_OPERATION}Patient-everything",
    ),
    Operation(
        "document",
        "composition-document",
        "A document of a composition",
        "A document Bundle: the Composition and all that can be reached from it. It is not stored.",
        ("Composition",),
        INSTANCE,
        (taken("persist", "boolean", "Only false: the document is not stored."), given("Bundle")),
        base=f"{uris.HL7_OPERATION}Composition-document",
    ),
    Operation(
        "lastn",
        "observation-lastn",
        "The latest observations of each code",
        "For each code the latest Observations, those entered in error left out. Search parameters of Observation say "
        "which are looked at; patient or subject is needed. A code is the only thing they are grouped by: left and "
        "right kidney are one group, so raise max for both.",
        ("Observation",),
        TYPE,
        (
            taken("patient", "string", "Whose: a reference or an id, as in a search; subject will do as well."),
            taken("category", "string", "Of which category, as in a search."),
            taken("code", "string", "Of which codes, as in a search."),
            taken("max", "positiveInt", "How many of each code; 1 without it. Equally late ones are all given."),
            given("Bundle"),
        ),
        base=f"{uris.HL7_OPERATION}Observation-lastn",
    ),
    Operation(
        "meta",
        "resource-meta",
        "Profiles, tags and security labels",
        "The meta of one resource.",
        ("Resource",),
        INSTANCE,
        (given("Meta"),),
        base=f"{uris.HL7_OPERATION}Resource-meta",
    ),
    Operation(
        "meta-add",
        "resource-meta-add",
        "Add profiles, tags and security labels",
        "A next version of the resource with these besides; none where they are there already.",
        ("Resource",),
        INSTANCE,
        (taken("meta", "Meta", "What is added.", need=1), given("Meta")),
        changes=True,
        base=f"{uris.HL7_OPERATION}Resource-meta-add",
    ),
    Operation(
        "meta-delete",
        "resource-meta-delete",
        "Take profiles, tags and security labels off",
        "A next version of the resource without these; none where they are not there.",
        ("Resource",),
        INSTANCE,
        (taken("meta", "Meta", "What is taken off.", need=1), given("Meta")),
        changes=True,
        base=f"{uris.HL7_OPERATION}Resource-meta-delete",
    ),
)
