"""What an exam still owes, and the rest left for a coded reason: each open step recorded as left because of it."""

from dataclasses import dataclass, replace
from typing import Any

from service.actions.case import Case
from service.actions.ports import House, Work
from service.actions.survey_acts import act_on
from service.actions.survey_sheet import Sheet, keep, open_sheet
from service.basics.ids import new_id
from service.exam.act import Act
from service.exam.entries import LEFT
from service.exam.rules import Reason
from service.exam.settle import leave
from service.exam.survey import Owed, Step

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Closed:
    """What closing the rest changed (Tasks and new Observations, to be written), and what it does to the price."""

    changed: tuple[Json, ...] = ()
    price_effect: str = "full"
    why: str = ""


def open_items(sheet: Sheet) -> list[tuple[Step, Owed]]:
    """Everything still owed, step by step in scanning order."""
    return [(step, owed) for step in sheet.steps for owed in sheet.owed(step)]


def close_rest(house: House, work: Work, case: Case, *, reason: Reason, detail: str, by: str) -> tuple[Case, Closed]:
    """The case with every owing step closed for the reason: seen in part where it was seen at all, else not seen."""
    before = open_sheet(house, work, case.exam)
    owing = [step for step in before.steps if before.owed(step)]
    acts = [(step.rule.code, leave(step, _act(before, reason, detail=detail, by=by))) for step in owing]
    after = act_on(before, acts)
    changed = keep(work, before, after)
    written = [r for r in changed if r["resourceType"] == "Observation" and r.get("status") != "entered-in-error"]
    closed = replace(case, steps=after.steps, observations=(*case.observations, *written))
    return closed, Closed(tuple(changed), reason.price_effect, reason.display)


def _act(sheet: Sheet, reason: Reason, *, detail: str, by: str) -> Act:
    return Act(key=f"{LEFT}{new_id()}", at=sheet.now, by=by, reason=reason.code, detail=detail)
