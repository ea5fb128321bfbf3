"""The protocol of a species, the animal and the order into the steps of one exam."""

from collections.abc import Collection
from dataclasses import replace

from service.exam import asking
from service.exam.animal import Animal
from service.exam.rules import Protocol, Service, StepRule

WHEN_ASKED = frozenset({"optional", "only-if-asked", "if-relevant", "if-present"})


def steps_for(
    protocol: Protocol, animal: Animal, service: Service, structures: Collection[str] = ()
) -> tuple[StepRule, ...]:
    """The steps that apply to this animal and this order, in scanning order.

    structures: those the order names (all of the survey when the service is full). What is named is owed, an optional
    step too. While sex, neuter status or testes are unknown, the steps that hang on them wait for a step that asks."""
    named = {*structures, *service.structures}
    fitting = [r for r in protocol.steps if _fits(r, animal) and (service.scope == "full" or r.structure in named)]
    chosen = [_asked_for(_present(r, animal), named) for r in fitting]
    if service.scope != "full" and not any(r.owed_from_start for r in chosen):
        chosen = [r if r.settles else replace(r, requirement="required-attempt") for r in chosen]
    return (*_questions(protocol, animal, service=service, named=named), *chosen)


def rule_of(protocol: Protocol, code: str) -> StepRule | None:
    """The rule of a step code, questions included; None when the protocol has no such step."""
    return asking.RULES.get(code) or protocol.by_code.get(code)


def _fits(rule: StepRule, animal: Animal) -> bool:
    """Whether the step applies; what is unknown of the animal never fits a step that hangs on it."""
    if rule.requirement == "not-applicable":
        return False
    if rule.special == "retained-testis":
        return _searched(animal)
    if rule.sex and rule.sex != animal.sex:
        return False
    if rule.special in {"uterus", "stump"}:
        return animal.neutered is not None and _has_uterus(animal) is (rule.special == "uterus")
    if rule.neutered is not None and rule.neutered is not animal.neutered:
        return False
    return not (rule.special == "pregnancy" and animal.pregnant is False)


def _searched(animal: Animal) -> bool:
    """Fewer than two testes in the scrotum and no castration on record; one testis left contradicts the record."""
    testes = animal.scrotal_testes
    few = testes is not None and testes < 2
    return animal.sex == "male" and few and (animal.neutered is False or testes == 1)


def _has_uterus(animal: Animal) -> bool:
    """Ovariectomy leaves a uterus to examine; of which kind the operation was is not guessed."""
    return animal.neutered is False or animal.uterus is True


def _present(rule: StepRule, animal: Animal) -> StepRule:
    """A gestation that is known of is a required step; signs of heat after neutering ask for the ovarian bed."""
    if rule.special == "pregnancy" and animal.pregnant:
        return replace(rule, requirement="required")
    if rule.special == "ovarian-bed" and animal.in_heat:
        return replace(rule, requirement="required-attempt")
    return rule


def _asked_for(rule: StepRule, named: Collection[str]) -> StepRule:
    wanted = rule.structure in named and rule.requirement in WHEN_ASKED and not rule.settles
    return replace(rule, requirement="required-attempt") if wanted else rule


def _questions(protocol: Protocol, animal: Animal, *, service: Service, named: Collection[str]) -> tuple[StepRule, ...]:
    """Only the questions whose answer can change the steps of this order."""
    steps = [r for r in protocol.steps if service.scope == "full" or r.structure in named]
    hanging = [r for r in steps if r.requirement != "not-applicable"]
    needed = {
        asking.SEX: any(r.sex for r in hanging),
        asking.NEUTERED: any(_hangs_on_neutering(r, animal) for r in hanging),
        asking.TESTES: any(r.special == "retained-testis" for r in hanging),
    }
    return tuple(rule for rule in asking.open_questions(animal) if needed[asking.question(rule)])


def _hangs_on_neutering(rule: StepRule, animal: Animal) -> bool:
    hangs = rule.neutered is not None or rule.special in {"retained-testis", "uterus", "stump"}
    sex = "male" if rule.special == "retained-testis" else rule.sex
    return hangs and (not sex or not animal.sex or sex == animal.sex)
