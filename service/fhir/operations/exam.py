"""Our operations on the Task of an exam, or of one of its steps."""

from collections.abc import Iterator

from service.fhir.operations.shape import INSTANCE, Operation, Parameter, given, taken

_EXAM = ("Task",)
_REFERENCES = (given("Reference", "The exam's Task.", name="exam"),)


_UNPRINTED = given("string", "That there is no PDF, when none could be made.", name="unprinted", need=0)
_CODES = taken("conclusionCode", "CodeableConcept", "The conclusion in codes, as the vet gives them.", many=True)


def _words() -> Iterator[Parameter]:
    for name in ("differential", "recommendation", "comparison", "procedure", "urgent"):
        yield taken(name, "string", f"The report's words on {name}.", many=True)


EXAM: tuple[Operation, ...] = (
    Operation(
        "amend",
        "exam-amend",
        "Amend a report",
        "Issues the next version of a finished exam's report: it says what changed, why and by whom. Money is not "
        "touched.",
        _EXAM,
        INSTANCE,
        (
            taken("status", "code", "amended, corrected or appended.", need=1),
            taken("reason", "string", "Why the report changes.", need=1),
            taken("by", "string", "Who changes it.", need=1),
            taken("major", "boolean", "Whether the change can alter the animal's care: needed unless appended."),
            taken("conclusion", "string", "Takes the place of the conclusion (appended: is added).", many=True),
            _CODES,
            *_words(),
            taken(
                "observation", "Resource", "An Observation of the exam as it should be, whole, with its id.", many=True
            ),
            *_REFERENCES,
            given("Reference", "The report.", name="report"),
            given("Reference", "The Task of telling the responsible vet at once, of a major one.", name="task", need=0),
            given("string", "The number of this version.", name="version"),
            given("string", "What changed.", name="change", many=True),
            _UNPRINTED,
        ),
        changes=True,
    ),
    Operation(
        "finish",
        "exam-finish",
        "Finish an exam",
        "Makes the report final, works out charges and invoice and promises delivery: all of it or nothing. Refused "
        "while anything is owed, unless `remaining` says why the rest is left.",
        _EXAM,
        INSTANCE,
        (
            taken("interpreter", "Reference", "Who interprets and signs: a reference, or a display.", need=1),
            taken("conclusion", "string", "The conclusion, the most important first.", need=1, many=True),
            _CODES,
            *_words(),
            taken(
                "major",
                "boolean",
                "Needed when its words differ from the preliminary report's: whether that can alter the animal's care.",
            ),
            taken("remaining", "code", "Why the rest is left: a not-seen reason that may be given for it."),
            taken("detail", "string", "More about it, where the reason asks for more."),
            *_REFERENCES,
            given("Reference", "The report.", name="report"),
            given("Reference", "The invoice, one for each payer.", name="invoice", need=0, many=True),
            given("string", "What could not be billed, and why.", name="unbilled", need=0, many=True),
            given(
                "string",
                "What to tell whoever pays, such as a bill beyond the estimate.",
                name="warning",
                need=0,
                many=True,
            ),
            _UNPRINTED,
        ),
        changes=True,
    ),
    Operation(
        "preliminary",
        "exam-preliminary",
        "Issue a preliminary report",
        "Reports an open exam as it stands, complete or not: a DiagnosticReport of its own, status preliminary, which "
        "the final one never overwrites. One that would read like the last one is not issued again.",
        _EXAM,
        INSTANCE,
        (
            taken("interpreter", "Reference", "Who reports: a reference, or a display.", need=1),
            taken("conclusion", "string", "What can be concluded so far.", many=True),
            _CODES,
            *_words(),
            *_REFERENCES,
            given("Reference", "The preliminary report.", name="report"),
            given("string", "Its number among the exam's preliminary reports.", name="version"),
            _UNPRINTED,
        ),
        changes=True,
    ),
    Operation(
        "settle",
        "exam-settle",
        "Settle a step",
        "On a step's Task: one statement about it. On an exam's Task, with `station`: all as expected there, where "
        "exactly one value is expected and none was noted.",
        _EXAM,
        INSTANCE,
        (
            taken("disposition", "code", "seen, seen-part, not-seen, absent-surgical, absent-unexplained or deferred."),
            taken("reason", "code", "A not-seen reason."),
            taken("detail", "string", "More about the reason."),
            taken("operation", "string", "The operation that explains an absence."),
            taken("plane", "code", "A plane it was seen in.", many=True),
            taken("window", "string", "The window or position it was seen from."),
            taken("station", "positiveInt", "The station that is settled, or where the look was."),
            taken("item", "code", "The one item that is excused, such as still or measure:length."),
            taken("retract", "boolean", "Take back what was said last."),
            taken("performer", "string", "Who says so; the token's label without it."),
            taken("effective", "dateTime", "When it was seen; now without it."),
            taken("sex", "code", "female or male, where the step asks for it."),
            taken("neutered", "boolean", "Whether the animal is neutered, where the step asks for it."),
            taken("scrotalTestes", "integer", "How many testes are in the scrotum, where the step asks for it."),
            given("Any", "The step's Task, or a Bundle of the station's Tasks."),
        ),
        changes=True,
    ),
    Operation(
        "withdraw",
        "exam-withdraw",
        "Withdraw an exam",
        "Ours becomes entered-in-error, an issued invoice is credited to zero, and all who were told are told.",
        _EXAM,
        INSTANCE,
        (
            taken("reason", "string", "Why it is withdrawn.", need=1),
            taken("by", "string", "Who withdraws it.", need=1),
            *_REFERENCES,
            given("Reference", "The report, when there was one.", name="report", need=0),
            given("Reference", "The credit, of each invoice.", name="credit", need=0, many=True),
            given("string", "Whom to call back: who received an urgent finding.", name="recall", need=0, many=True),
        ),
        changes=True,
    ),
)
