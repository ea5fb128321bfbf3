"""What the animal's data leave open into steps that ask for it, and the answers back into the animal."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from service.exam.animal import Animal
from service.exam.entries import live
from service.exam.found_out import found_out
from service.exam.rules import StepRule
from service.exam.survey import Entry, Step

BEFORE = "Before the survey"
SEX, NEUTERED, TESTES = "statement:sex", "statement:neutered", "statement:scrotal-testes"
# the question a step asks -> the answers it takes
ANSWERS: Mapping[str, tuple[str, ...]] = {
    SEX: ("female", "male"),
    NEUTERED: ("intact", "neutered"),
    TESTES: ("0", "1", "2"),
}
ASKED: Mapping[str, str] = {"ask_sex": SEX, "ask_neuter": NEUTERED, "ask_testes": TESTES}
WORDS: Mapping[str, str] = {
    SEX: "State the animal's sex (female or male): steps depend on it and it is never guessed",
    NEUTERED: "State whether the animal is intact or neutered: steps depend on it and it is never guessed",
    TESTES: "State how many testes are in the scrotum (0, 1 or 2): fewer than two adds the search for the other",
}
RULES: Mapping[str, StepRule] = {
    rule.code: rule
    for rule in (
        StepRule("ask_sex", 0, BEFORE, 1, "", "Sex of the animal", "required"),
        StepRule("ask_neuter", 0, BEFORE, 2, "", "Neuter status of the animal", "required"),
        StepRule("ask_testes", 0, BEFORE, 3, "", "Number of testes in the scrotum", "required"),
    )
}


def open_questions(animal: Animal) -> tuple[StepRule, ...]:
    """The steps that ask what is not known of the animal and decides which structures are surveyed."""
    codes = []
    if not animal.sex:
        codes.append("ask_sex")
    if animal.neutered is None:
        codes.append("ask_neuter")
    if animal.sex == "male" and animal.neutered is False and animal.scrotal_testes is None:
        codes.append("ask_testes")
    return tuple(RULES[code] for code in codes)


def question(rule: StepRule) -> str:
    """The item of a step that asks ("statement:sex"); "" for a step that scans."""
    return ASKED.get(rule.code, "")


def answer(step: Step) -> str:
    """The live answer of a step that asks, the last one given; "" while it is open."""
    wanted = question(step.rule)
    given = [e.value for e in live(step) if e.item == wanted] if wanted else []
    return given[-1] if given else ""


def answered(animal: Animal, steps: Iterable[Step], noted: Iterable[Entry] = ()) -> Animal:
    """The animal with what the exam has been told and found out: only what its own data left open.

    noted: the live entries of the exam as a whole."""
    steps = list(steps)
    animal = found_out(animal, steps, noted)
    given = {question(s.rule): found for s in steps if (found := answer(s))}
    sex = animal.sex or given.get(SEX, "")
    neutered = animal.neutered
    if neutered is None and NEUTERED in given:
        neutered = given[NEUTERED] == "neutered"
    testes = animal.scrotal_testes
    if testes is None and TESTES in given:
        testes = int(given[TESTES])
    return replace(animal, sex=sex, neutered=neutered, scrotal_testes=testes)
