"""Our operations on the money of an exam."""

from service.fhir.operations.shape import INSTANCE, Operation, given, taken

_EXAM = given("Reference", "The exam's Task.", name="exam")

PRINT = Operation(
    "print",
    "invoice-print",
    "An invoice in print",
    "An invoice, credit note or estimate of ours, as a file to read or print: the file itself, or a Binary where "
    "FHIR is asked for. Its words are of the language that the practice had when it was issued, or of the one that is "
    "asked for, and figures are written as that language does. A credit note states positive amounts.",
    ("Invoice",),
    INSTANCE,
    (
        taken("kind", "code", "pdf or page (HTML); pdf without it."),
        taken("version", "positiveInt", "Which version of it; the current one without this."),
        taken("language", "code", "A language that has words, such as en or de-AT; the invoice's own without it."),
        given("Binary"),
    ),
)
MONEY: tuple[Operation, ...] = (
    Operation(
        "bill",
        "exam-bill",
        "Bill an exam",
        "Invoices what of a finished exam, or of the fee of a cancelled one, is not invoiced yet: what had no price or "
        "no clear payer and now has, and with `again` what was credited in full, under the next correction number. "
        "Nothing is billed twice.",
        ("Task",),
        INSTANCE,
        (
            taken("by", "string", "Who has it billed.", need=1),
            taken("again", "boolean", "Bill anew what was credited in full."),
            _EXAM,
            given("Reference", "A new invoice, one for each payer.", name="invoice", need=0, many=True),
            given("string", "What could not be billed, and why.", name="unbilled", need=0, many=True),
            given("string", "What to tell whoever pays.", name="warning", need=0, many=True),
        ),
        changes=True,
    ),
    Operation(
        "credit",
        "exam-credit",
        "Credit an invoice",
        "Takes back an issued invoice of a finished exam, or of the fee of a cancelled one, by a credit: parts of its "
        "lines, or without `line` all that is left of it. The invoice itself stays as it was issued. The same request "
        "again is the same credit.",
        ("Task",),
        INSTANCE,
        (
            taken("reason", "string", "Why; it is printed on the credit, so nothing clinical.", need=1),
            taken("by", "string", "Who credits it.", need=1),
            taken("invoice", "Reference", "Which invoice, where the exam has several."),
            taken(
                "line",
                "",
                "What is taken back of one line.",
                many=True,
                parts=(
                    taken("sequence", "positiveInt", "The line of the invoice.", need=1),
                    taken("quantity", "decimal", "How many; or else `amount`."),
                    taken("amount", "Money", "How much: with tax where the line's price includes tax, else without."),
                ),
            ),
            _EXAM,
            given("Reference", "The credit.", name="credit"),
        ),
        changes=True,
    ),
)
