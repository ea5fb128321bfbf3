"""Our operations on urgent findings: deciding them, and telling somebody until it is received."""

from service.fhir.operations.shape import INSTANCE, Operation, Parameter, given, taken

_TASK = ("Task",)
_RECORD: tuple[Parameter, ...] = (
    given("Reference", "The exam's Task.", name="exam"),
    given("Reference", "The Task of the urgent finding.", name="finding"),
    given("Reference", "The Task of telling somebody, once it is confirmed.", name="task", need=0),
    given("Reference", "The Communication, once it is confirmed.", name="communication", need=0),
    given("string", "How the finding stands.", name="state"),
    given("string", "How telling somebody stands.", name="communicationState", need=0),
    given("string", "The instant by which it must be received.", name="due", need=0),
)
_METHOD = "voice, in-person or message."

URGENT: tuple[Operation, ...] = (
    Operation(
        "urgent",
        "urgent-decide",
        "Decide an urgent finding",
        "On the Task of an urgent finding: confirm what data suggested, or decline it with a reason. On an exam's "
        "Task: the same by the finding's code, or raise what no data can suggest. Confirming opens a Communication and "
        "a Task for the responsible vet, with the time by which it must be received.",
        _TASK,
        INSTANCE,
        (
            taken("finding", "code", "On an exam's Task: the code of the urgent finding."),
            taken("decision", "code", "confirmed (also without it) or declined."),
            taken("by", "string", "Who decides.", need=1),
            taken("reason", "string", "Why: needed to decline."),
            taken("tier", "positiveInt", "1 at once, 2 within hours, 3 within days, where a person chooses another."),
            taken("words", "string", "What was found, for a finding without a code of its own."),
            taken("recipient", "Reference", "Who is to be told: a reference, or a display; else whoever ordered."),
            *_RECORD,
        ),
        changes=True,
    ),
    Operation(
        "urgent-attempt",
        "urgent-attempt",
        "Record a try to reach somebody",
        "On the Task of telling somebody: a try that has not led to a receipt, and who is tried next.",
        _TASK,
        INSTANCE,
        (
            taken("by", "string", "Who tried.", need=1),
            taken("to", "string", "Who was tried.", need=1),
            taken("method", "code", _METHOD, need=1),
            taken("at", "dateTime", "When, with its zone.", need=1),
            taken("outcome", "string", "What came of it."),
            taken("escalatedTo", "Reference", "Who is responsible from now on: a reference, or a display."),
            *_RECORD,
        ),
        changes=True,
    ),
    Operation(
        "urgent-acknowledge",
        "urgent-acknowledge",
        "Record that an urgent finding was received",
        "On the Task of telling somebody: who told whom, how and when, and that it was received. Closes the finding.",
        _TASK,
        INSTANCE,
        (
            taken("by", "string", "Who told it.", need=1),
            taken("to", "string", "Who received it, by name.", need=1),
            taken("method", "code", _METHOD, need=1),
            taken("at", "dateTime", "When it was told; now without it."),
            taken("received", "dateTime", "When receipt was confirmed: needed for a message."),
            taken("readBack", "boolean", "Whether it was read back: needed when it was spoken."),
            taken("detail", "string", "Why a message had to do where speaking is asked for, or anything more."),
            *_RECORD,
        ),
        changes=True,
    ),
)
