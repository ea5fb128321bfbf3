"""A step of the survey: its rule and what has been entered for it."""

from service.basics.values import value
from service.exam.rules import StepRule


@value
class Entry:
    """One thing entered for a step.

    item: "plane:long" | "still" | "clip" | "measure:<key>" | "finding:<attribute>" | "disposition:<code>"
        | "excused:<item>" | "settled-elsewhere:<step>" | "statement:<question>"; dispositions: seen, seen-part,
        not-seen, absent-surgical, absent-unexplained, deferred. "retracted:<item>" was taken back and counts no more;
        "unread:<what>" came in a code that no row knows and waits for a person.
    source: the resource it rests on ("Observation/<id>"), or "" when the Task itself is the record.
    value: of a finding its value code, of a still the number of images it stands for ("" is one).
    act: what one explicit act entered bears its key, so that it can be taken back as one; "" for evidence sent."""

    item: str
    source: str
    at: str
    by: str
    value: str = ""  # of a finding: its value code
    reason: str = ""  # key of the reason
    note: str = ""
    window: str = ""
    station: int | None = None
    act: str = ""
    retracted_at: str = ""
    retracted_by: str = ""


@value
class Step:
    """One step of one exam. Its state is a function of these; entries keep the order in which they came."""

    task: str  # id of its Task
    rule: StepRule
    entries: tuple[Entry, ...] = ()


@value
class Owed:
    """One thing still owed, with words for a person."""

    item: str
    text: str
    count: int = 0  # how many are missing, of what is counted (still images)
