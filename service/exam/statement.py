"""What an act on a step comes to: entries made and ended, and what is written beside the Task."""

from dataclasses import dataclass

from service.basics.errors import Fault
from service.exam.rules import Attribute, Reason, Value
from service.exam.survey import Entry


@dataclass(frozen=True, slots=True)
class Statement:
    """One entry of an act, and what is written for it beside the Task.

    writes: "" (the Task is the record), "finding", "not-assessed", "disposition" or "answer"."""

    entry: Entry
    writes: str = ""
    attribute: Attribute | None = None
    value: Value | None = None
    reason: Reason | None = None


@dataclass(frozen=True, slots=True)
class Settled:
    """What an act does: entries it takes back, entries it makes, or everything that forbids it."""

    ended: tuple[Entry, ...] = ()
    made: tuple[Statement, ...] = ()
    faults: tuple[Fault, ...] = ()

    @property
    def unchanged(self) -> bool:
        """Whether the act says nothing new: it was said before."""
        return not (self.ended or self.made or self.faults)
