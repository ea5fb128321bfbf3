"""Our operations on exceptions of billing: settling one, and having them up to date now."""

from service.fhir.operations.shape import INSTANCE, TYPE, Operation, given, taken

SETTLE = Operation(
    "billing-settle",
    "billing-settle",
    "Settle an exception of billing",
    "On the Task of an exception: why it stands, and who says so. It is shown again only when its facts change.",
    ("Task",),
    INSTANCE,
    (
        taken("reason", "string", "Why it is settled.", need=1),
        taken("by", "string", "Who settles it.", need=1),
        given("Reference", "The Task of the exception.", name="exception"),
        given("string", "How it stands.", name="state"),
    ),
    changes=True,
)
CHECK = Operation(
    "billing-check",
    "billing-check",
    "Bring the exceptions of billing up to date",
    "The service looks by itself every few seconds; this looks now. What is open is then found by "
    "Task?code=billing-exception&status=requested.",
    ("Task",),
    TYPE,
    (
        given("Reference", "The Task of each exception that is open.", name="exception", need=0, many=True),
        given("string", "How many were found, came back or are no longer so.", name="changed"),
        given("string", "How many are open.", name="open"),
    ),
    changes=True,
)
