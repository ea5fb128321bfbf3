"""One urgent finding with all that is on record of telling somebody, as lists and reports tell it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Attempt:
    """One try to reach somebody, in vain or not yet confirmed."""

    at: str
    by: str
    to: str
    method: str
    outcome: str = ""


@dataclass(frozen=True, slots=True)
class UrgentRecord:
    """What was found, how urgent, who decided, who was told, when and how, and that it was received.

    finding, message, communication: references; texts are "" where nothing is on record; times are instants."""

    finding: str
    code: str
    title: str
    tier: int
    state: str  # of the finding
    identified_at: str
    escalates_at: str = ""
    due: str = ""
    because: tuple[str, ...] = ()
    decided_by: str = ""
    decided_at: str = ""
    reason: str = ""
    message: str = ""
    message_state: str = ""
    communication: str = ""
    responsible: str = ""
    attempts: tuple[Attempt, ...] = ()
    passed_on_to: tuple[str, ...] = ()
    communicated_by: str = ""
    communicated_to: str = ""
    method: str = ""
    communicated_at: str = ""
    received_at: str = ""
    read_back: bool | None = None
    remark: str = ""
    included_in: tuple[str, ...] = ()  # the reports that tell it, each with its version

    @property
    def standing(self) -> str:
        """The state of what is to be done next: telling somebody, or deciding."""
        return self.message_state or self.state

    @property
    def undecided(self) -> bool:
        """Whether a person still has to confirm or decline it."""
        return self.state in {"suggested", "escalated", "overdue"}

    @property
    def open(self) -> bool:
        """Whether something is still to be done: decide, or tell somebody until it is received."""
        return self.undecided or self.message_state in {"waiting", "attempted", "escalated", "overdue"}
