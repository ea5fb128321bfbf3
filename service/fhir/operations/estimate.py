"""Our operations on what an exam is expected to cost."""

from service.fhir.operations.shape import INSTANCE, Operation, given, taken

_EXAM = given("Reference", "The exam's Task.", name="exam")

ESTIMATE: tuple[Operation, ...] = (
    Operation(
        "consent",
        "exam-consent",
        "Record a consent to the estimate",
        "Somebody agreed to what an open exam is expected to cost: up to which amount, when and how, and who records "
        "it. Kept as a Consent that names the version of the estimate.",
        ("Task",),
        INSTANCE,
        (
            taken("by", "string", "Who records it.", need=1),
            taken("given", "Reference", "Who agreed: a reference, or a display.", need=1),
            taken("method", "code", "voice, in-person or message.", need=1),
            taken("at", "dateTime", "When; now without it."),
            taken("amount", "Money", "Up to how much, tax included; all that was estimated without it."),
            taken("estimate", "Reference", "Which estimate, where it is not the client's."),
            _EXAM,
            given("Reference", "The Consent.", name="consent"),
        ),
        changes=True,
    ),
    Operation(
        "estimate",
        "exam-estimate",
        "Estimate an exam",
        "What an open exam is expected to cost, by the prices it will be billed at: the service that was ordered, what "
        "the exam shows so far, and what is expected besides. A draft Invoice for each payer; the same again changes "
        "nothing.",
        ("Task",),
        INSTANCE,
        (
            taken("expected", "code", "A charge code that is expected too; as often as it is given.", many=True),
            _EXAM,
            given("Reference", "The draft of each payer.", name="estimate", need=0, many=True),
            given("string", "What each payer is expected to pay, tax included.", name="total", need=0, many=True),
            given("string", "What has no price, and why.", name="unpriced", need=0, many=True),
        ),
        changes=True,
    ),
)
