"""Our operations on a report: the forms in which it can be had."""

from service.fhir.operations.shape import INSTANCE, Operation, given, taken

_VERSION = taken("version", "positiveInt", "Which version of it; the current one without this.")

REPORT: tuple[Operation, ...] = (
    Operation(
        "as-document",
        "report-as-document",
        "A report as a document",
        "A document Bundle: a Composition with the report's sections, then the report and all that can be reached from "
        "it. It is made when it is asked for, always the same for one version, and not stored.",
        ("DiagnosticReport",),
        INSTANCE,
        (_VERSION, given("Bundle")),
    ),
    Operation(
        "form",
        "report-form",
        "A report as a file",
        "The report as it was issued, to read or print: the file itself, or a Binary where FHIR is asked for.",
        ("DiagnosticReport",),
        INSTANCE,
        (taken("kind", "code", "pdf, page (HTML) or text; pdf without it."), _VERSION, given("Binary")),
    ),
)
