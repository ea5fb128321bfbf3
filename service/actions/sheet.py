"""The survey of one exam while it is worked on: its steps and what each of them owes."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from service.basics.ids import new_id
from service.basics.stored import Exam, Stored
from service.billing.practice import Practice
from service.catalogue.catalogue import Catalogue
from service.exam import follow_up, survey_state
from service.exam.entries import live
from service.exam.evidence import Evidence, Unmapped
from service.exam.fitting import Scope, fitted
from service.exam.matching import match
from service.exam.prompts import prompts
from service.exam.rules import Attribute
from service.exam.survey import Entry, Owed, Step
from service.fhir.reading.evidence import sightings

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Sheet:
    """steps in scanning order; shelved: those that an answer ruled out; whole: what concerns no single step.

    tasks holds the Tasks as stored, by id; written the Observations that acts have made; now is an instant."""

    exam: Exam
    tasks: dict[str, Stored]
    steps: tuple[Step, ...]
    shelved: tuple[Step, ...]
    whole: Step
    scope: Scope
    rules: Catalogue
    practice: Practice
    now: str
    written: tuple[Json, ...] = ()
    read: dict[int, tuple[Json, list[Evidence | Unmapped]]] = field(default_factory=dict, compare=False, repr=False)

    def understood(self, resource: Json) -> list[Evidence | Unmapped]:
        """What a resource of evidence says by the mappings in force; read once, and it must not change after that."""
        known = self.read.get(id(resource))
        if known is None:
            species = self.scope.animal.species
            found = [one for seen in sightings(resource) for one in match(seen, self.rules, species)]
            known = self.read[id(resource)] = (resource, found)  # held, so that no other comes to bear its id
        return known[1]

    def step(self, code: str) -> Step:
        """The step of a code that the exam has."""
        return next(s for s in self.steps if s.rule.code == code)

    def attributes(self, step: Step) -> tuple[Attribute, ...]:
        """The vocabulary of the step's structure; nothing for a step that asks."""
        structure = self.rules.structures.get(step.rule.structure)
        return self.rules.vocabularies.get(structure.vocabulary, ()) if structure else ()

    def owed(self, step: Step) -> tuple[Owed, ...]:
        """What the step still owes, by its exam's catalogue and the practice's wishes."""
        return survey_state.owed(
            step,
            self.attributes(step),
            stills_owed=self.practice.stills_owed,
            clips_owed=self.practice.clips_owed,
            titles=self._titles(step),
        )

    def state(self, step: Step) -> tuple[str, str]:
        """(Task.status, business status) of the step."""
        return survey_state.state(step, self.owed(step))

    def prompts(self, step: Step) -> tuple[str, ...]:
        """What a person should think of, given what was found of the step's structure."""
        structure = self.rules.structures.get(step.rule.structure)
        return prompts(step, structure.vocabulary if structure else "", self.rules.prompts)

    def with_steps(self, changed: Iterable[Step]) -> "Sheet":
        """The sheet with these steps in the place of their earlier state."""
        new = {s.rule.code: s for s in changed}
        return replace(self, steps=tuple(new.get(s.rule.code, s) for s in self.steps))

    def _titles(self, step: Step) -> dict[str, str]:
        species, structure = self.scope.animal.species, step.rule.structure
        more = (k for wanted in follow_up.measures(step, self.attributes(step)) for k in wanted.split("|"))
        rows = {m: self.rules.measures.get((species, structure, m)) for m in (*step.rule.measures, *more)}
        return {f"measure:{m}": row.title for m, row in rows.items() if row}


def settled(sheet: Sheet) -> Sheet:
    """The sheet after second looks took effect and answers added, took up or shelved steps."""
    steps, shelved = fitted(sheet.steps, sheet.shelved, scope=sheet.scope, new_task=new_id, noted=live(sheet.whole))
    sheet = replace(sheet, steps=steps, shelved=shelved)
    done = [s.rule.code for s in steps if s.rule.settles and sheet.state(s) in _SEEN]
    return replace(sheet, steps=survey_state.settle_elsewhere(steps, done))


_SEEN = {("completed", "seen"), ("completed", "seen-part")}


def listed(sheet: Sheet, *heads: str) -> list[Entry]:
    """The live entries of the exam as a whole of these kinds ("unmapped", "outside", "note")."""
    return [e for e in live(sheet.whole) if e.item.partition(":")[0] in heads]
