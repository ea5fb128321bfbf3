"""What an exam can show besides being performed, and which charge that leads to."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from service.billing.exam_facts import Shown
from service.billing.situation import Situation
from service.billing.tariff import Price, concerns

NO_SHOW = "no-show"  # what a cancelled exam shows


@dataclass(frozen=True, slots=True)
class Trigger:
    """One row of mappings/charges.csv. always: charged or listed as an exception even where no price list knows it."""

    charge: str
    text: str
    trigger: str
    always: bool


def charged(
    triggers: Iterable[Trigger],
    shown: Iterable[Shown],
    prices: Sequence[Price],
    *,
    organization: str,
    on: date | None = None,
    at: Situation | None = None,
) -> list[tuple[Trigger, Shown]]:
    """The charges that what was shown leads to, in the order of the rows. on, at: the exam's day, and what it was like.

    What is performed (always) is charged or told, never forgotten; a circumstance, such as the priority, is charged
    by those whose price list knows it for such an exam."""
    by_trigger = {one.trigger: one for one in shown if one.times > 0}
    return [
        (row, by_trigger[row.trigger])
        for row in triggers
        if row.trigger in by_trigger
        and (row.always or concerns(prices, row.charge, organization=organization, on=on, at=at or Situation()))
    ]
