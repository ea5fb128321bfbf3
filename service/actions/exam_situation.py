"""What billing knows of an exam into what its prices depend on."""

from service.billing.exam_facts import ExamFacts, Shown
from service.billing.hours import Start, out_of_hours, start
from service.billing.practice import Practice
from service.billing.situation import Situation


def situation(facts: ExamFacts, practice: Practice, *, scope: str) -> Situation:
    """What the prices of an exam depend on; scope: the charge of its exam line."""
    return Situation(
        scope=scope,
        species=facts.species,
        weight_kg=facts.weight_kg,
        priority=facts.priority,
        closed=out_of_hours(practice, start(practice, facts.started)),
        grade=facts.grade,
        requesters=facts.requesters,
    )


def seen_of(facts: ExamFacts, at: Situation, began: Start) -> list[Shown]:
    """What the exam shows, and that it began out of hours where it did."""
    closed = Shown("out-of-hours", note=f"The exam began outside opening hours, {began.words}.")
    return [*facts.shown, *([closed] if at.closed else [])]
