"""Our operations on referrals: deciding on one, and saying which animal it is about."""

from service.fhir.operations.shape import INSTANCE, Operation, given, taken

_BY = taken("by", "string", "Who decides.", need=1)

REFERRAL: tuple[Operation, ...] = (
    Operation(
        "referral",
        "referral-decide",
        "Decide on a referral",
        "At the hospital, on the Task of a referral: accept it, which opens the exam; reject it with a reason; say "
        "when the exam is to be; or send again what the clinic has not got. The clinic's own Task follows.",
        ("Task",),
        INSTANCE,
        (
            taken("decision", "code", "accept, reject, schedule or send.", need=1),
            _BY,
            taken("reason", "string", "Why it is rejected."),
            taken("at", "dateTime", "When the exam is to be."),
            given("Reference", "The Task of the referral.", name="referral"),
            given("Reference", "The exam's Task, once it is accepted.", name="exam", need=0),
            given("string", "How it stands.", name="state"),
        ),
        changes=True,
    ),
    Operation(
        "referral-animal",
        "referral-animal",
        "Say which animal a referral is about",
        "At the hospital, where chip and owner of a referred animal agree with its own records in part only: it is one "
        "that is known here, or none. Nothing is guessed, and nothing is accepted before.",
        ("Task",),
        INSTANCE,
        (
            taken("decision", "code", "same (with patient) or other.", need=1),
            _BY,
            taken("patient", "Reference", "The animal known here that it is."),
            taken("reason", "string", "Why."),
            given("Reference", "The Task of the referral.", name="referral"),
            given("Reference", "The animal that it is about.", name="animal"),
            given("string", "How it stands.", name="state"),
        ),
        changes=True,
    ),
)
