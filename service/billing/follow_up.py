"""A recheck or a fluid check, and the full surveys of the same animal, into the exam line that is charged."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from service.billing.charge import Cut
from service.billing.practice import Practice

RECHECK, FLUID_CHECK = "recheck", "fluid-check"
FOLLOWING = frozenset({RECHECK, FLUID_CHECK})  # scopes whose price can hang on a full survey


@dataclass(frozen=True, slots=True)
class FullSurvey:
    """A full survey of the same animal at this practice that stands: its exam, and the practice's day of it."""

    exam: str
    day: date


def followed(
    cut: Cut, scope: str, fulls: Iterable[FullSurvey], *, day: date, practice: Practice, limited: str
) -> Cut:  # fmt: skip
    """The line of an exam of this scope on a day, as the practice's rows have it, and why it is another than before.

    A recheck too long after the last full survey is charged as limited; a fluid check that does not stand beside the
    full survey of its day is not charged."""
    if scope == RECHECK and practice.recheck_days is not None and limited:
        if any(0 <= (day - one.day).days <= practice.recheck_days for one in fulls):
            return cut
        return Cut(limited, f"No full survey in the {practice.recheck_days} days before; charged as limited.")
    if scope == FLUID_CHECK and not practice.fluid_check_apart:
        covering = next((one for one in fulls if one.day == day), None)
        if covering is not None:
            return Cut("", f"Not charged: the full survey of the same day covers it ({covering.exam}).")
    return cut
