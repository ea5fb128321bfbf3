"""Our profiles of what is urgent: the finding that is decided, telling somebody of it, and what is told."""

from service.fhir import uris
from service.fhir.profiles.rows import Profile, Rule, coded

_OURS = ("Identifier", {"system": uris.ID})
_KEPT = (
    Rule("extension:tier", "how soon somebody must know, 1 to 3", 1, "1", url=uris.X_TIER, served=True),
    Rule("extension:escalates", "when somebody else is to be tried", 1, "1", url=uris.X_ESCALATE, served=True),
    Rule("identifier", "our identifier", 1, pattern=_OURS, served=True),
    Rule("businessStatus", "how it stands", 1, pattern=coded(uris.URGENT_STATE), served=True),
    Rule("for", "the animal", 1, targets=("Patient",), served=True),
    Rule("restriction", "when it was identified, and by when it must be received", 1, served=True),
    Rule("output", "what was entered, each with when and by whom", served=True),
)

URGENT: tuple[Profile, ...] = (
    Profile(
        "urgent-finding", "Task", "Urgent finding", "A finding that somebody must know of soon: suggested by data or "
        "raised by a person, and decided by a person.",
        (("code.coding", {"system": uris.TASK_CODE, "code": "urgent-finding"}),),
        (
            *_KEPT,
            Rule("partOf", "the exam", 1, "1", targets=("Task",), served=True),
            Rule("status", "ready while the report waits for the decision", served=True),
            Rule("code", "the urgent finding", 1, pattern=coded(uris.URGENT), served=True),
            Rule("focus", "the order", 1, targets=("ServiceRequest",), served=True),
        ),
    ),
    Profile(
        "urgent-communication", "Task", "Telling an urgent finding", "Telling the responsible vet of a confirmed "
        "urgent finding, until it is received.",
        (("code.coding", {"system": uris.TASK_CODE, "code": "urgent-communication"}),),
        (
            *_KEPT,
            Rule("partOf", "the urgent finding", 1, "1", targets=("Task",), served=True),
            Rule("status", "completed when receipt is confirmed", served=True),
            Rule("code", "the urgent finding", 1, pattern=coded(uris.URGENT), served=True),
            Rule("focus", "what is told", 1, targets=("Communication",), served=True),
        ),
    ),
    Profile(
        "urgent-notice", "Communication", "Notice of an urgent finding", "What was told of an urgent finding, to whom, "
        "when and how.",
        (("topic.coding", {"system": uris.URGENT}),),
        (
            Rule("identifier", "our identifier", 1, pattern=_OURS, served=True),
            Rule("basedOn", "the order", 1, served=True),
            Rule("partOf", "the urgent finding", 1, served=True),
            Rule("status", "completed when receipt is confirmed", served=True),
            Rule("subject", "the animal", 1, targets=("Patient",), served=True),
            Rule("topic", "the urgent finding", 1, pattern=coded(uris.URGENT), served=True),
            Rule("payload", "what is told, in words", 1, served=True),
        ),
    ),
)  # fmt: skip
