"""What an exam shows into its charges: which lines, in which state, and why one is not billed."""

from collections.abc import Mapping
from dataclasses import dataclass

from service.basics.errors import Conflict, Fault

# (state, verb) -> state, after ChargeItem.status; what is not here is refused
MOVES: Mapping[tuple[str, str], str] = {
    ("planned", "perform"): "billable",
    ("planned", "waive"): "not-billable",
    ("planned", "abort"): "aborted",
    ("planned", "withdraw"): "entered-in-error",
    ("billable", "bill"): "billed",
    ("billable", "waive"): "not-billable",
    ("billable", "withdraw"): "entered-in-error",
    ("not-billable", "restore"): "billable",
    ("not-billable", "withdraw"): "entered-in-error",
    ("billed", "credit"): "entered-in-error",  # only together with the credit that names its invoice
}
OPEN = frozenset({"planned", "billable", "not-billable"})


@dataclass(frozen=True, slots=True)
class Identity:
    """What makes a charge the same charge: never the report's version, so an amended report charges nothing.

    order: id of the order, or of the Encounter for what is charged once a visit."""

    order: str
    code: str
    organization: str
    correction: int = 0  # rises only after a full credit

    @property
    def text(self) -> str:
        """The identity as one identifier value."""
        return f"{self.order}|{self.code}|{self.organization}|{self.correction}"


@dataclass(frozen=True, slots=True)
class Charge:
    """One charge of one exam. id is its ChargeItem's; text is the line name that a client may read.

    quantity: how often it was performed."""

    id: str
    identity: Identity
    text: str
    status: str
    quantity: int = 1


@dataclass(frozen=True, slots=True)
class Cut:
    """What is left of an exam line: the code that is charged ("" for none), and why it is not the one ordered."""

    code: str
    why: str = ""


def move(status: str, verb: str) -> str:
    """The state after a verb; Conflict when a charge in this state does not allow it."""
    after = MOVES.get((status, verb))
    if after is None:
        raise Conflict(Fault("conflict", f"A charge that is {status} cannot {verb}.", "ChargeItem.status"))
    return after


def exam_line(ordered: str, *, effect: str, full: str, limited: str, reason: str = "") -> Cut:
    """The exam line after all: as ordered, a full survey cut short as limited, or none (effect: full, limited, none).

    A smaller exam cut short keeps its own line: the limited price would be the dearer one."""
    because = f": {reason}" if reason else ""
    if effect == "none":
        return Cut("", f"Not charged, the exam was stopped{because}.")
    if effect == "limited" and ordered == full and limited:
        return Cut(limited, f"The full survey was stopped early{because}; charged as limited.")
    return Cut(ordered)


def next_correction(known: list[Charge], code: str) -> int:
    """The correction number of a new charge of this code: one more than the highest that was reversed."""
    return max((c.identity.correction + 1 for c in known if c.identity.code == code), default=0)
