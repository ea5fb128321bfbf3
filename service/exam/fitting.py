"""The steps an exam has and the steps its animal needs into the steps it keeps, adds and shelves."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from service.exam import asking
from service.exam.animal import Animal
from service.exam.entries import begun
from service.exam.protocol import steps_for
from service.exam.rules import Protocol, Service, StepRule
from service.exam.survey import Entry, Step


@dataclass(frozen=True, slots=True)
class Scope:
    """By what the steps of an exam were chosen: the animal as it was known, and the order."""

    protocol: Protocol
    animal: Animal
    service: Service
    structures: tuple[str, ...] = ()


def fitted(
    steps: Sequence[Step],
    shelved: Sequence[Step],
    *,
    scope: Scope,
    new_task: Callable[[], str],
    noted: Iterable[Entry] = (),
) -> tuple[tuple[Step, ...], tuple[Step, ...]]:
    """(steps, shelved steps) after the answers given so far: what they call for is added or taken up again, what they
    rule out is shelved with all that was entered. A question that was asked and answered stays, and so does the look
    at the stump that found a uterus. noted: the live entries of the exam as a whole."""
    animal = asking.answered(scope.animal, steps, noted)
    wanted = {r.code: r for r in steps_for(scope.protocol, animal, scope.service, scope.structures)}
    kept = [_needed(s, wanted) for s in steps if s.rule.code in wanted or asking.answer(s) or _told(s, animal)]
    stay = {s.rule.code for s in kept}
    off = [s for s in steps if s.rule.code not in stay]
    again = [_needed(s, wanted) for s in shelved if s.rule.code in wanted]
    known = {s.rule.code for s in (*kept, *again)}
    added = [Step(new_task(), rule) for code, rule in wanted.items() if code not in known]
    order = sorted([*kept, *again, *added], key=lambda s: (s.rule.station, s.rule.sequence))
    return tuple(order), (*off, *(s for s in shelved if s.rule.code not in wanted))


def _needed(step: Step, wanted: Mapping[str, StepRule]) -> Step:
    """The step as it is needed now: a gestation that was seen makes its step a required one."""
    need = wanted[step.rule.code].requirement if step.rule.code in wanted else step.rule.requirement
    return step if need == step.rule.requirement else replace(step, rule=replace(step.rule, requirement=need))


def _told(step: Step, animal: Animal) -> bool:
    return step.rule.special == "stump" and animal.uterus is True and begun(step)
