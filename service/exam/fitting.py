"""The steps an exam has and the steps its animal needs into the steps it keeps, adds and shelves."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from service.exam import asking
from service.exam.animal import Animal
from service.exam.protocol import steps_for
from service.exam.rules import Protocol, Service
from service.exam.survey import Step


@dataclass(frozen=True, slots=True)
class Scope:
    """By what the steps of an exam were chosen: the animal as it was known, and the order."""

    protocol: Protocol
    animal: Animal
    service: Service
    structures: tuple[str, ...] = ()


def fitted(
    steps: Sequence[Step], shelved: Sequence[Step], *, scope: Scope, new_task: Callable[[], str]
) -> tuple[tuple[Step, ...], tuple[Step, ...]]:
    """(steps, shelved steps) after the answers given so far: what they call for is added or taken up again, what they
    rule out is shelved with all that was entered. A question that was asked and answered stays."""
    animal = asking.answered(scope.animal, steps)
    wanted = {r.code: r for r in steps_for(scope.protocol, animal, scope.service, scope.structures)}
    kept = [s for s in steps if s.rule.code in wanted or asking.answer(s)]
    stay = {s.rule.code for s in kept}
    off = [s for s in steps if s.rule.code not in stay]
    again = [s for s in shelved if s.rule.code in wanted]
    known = {s.rule.code for s in (*kept, *again)}
    added = [Step(new_task(), rule) for code, rule in wanted.items() if code not in known]
    order = sorted([*kept, *again, *added], key=lambda s: (s.rule.station, s.rule.sequence))
    return tuple(order), (*off, *(s for s in shelved if s.rule.code not in wanted))
