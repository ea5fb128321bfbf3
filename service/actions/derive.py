"""What was measured in an exam into the results that follow from it, kept in step with it in the same transaction."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from service.actions.derive_inputs import Inputs, read_inputs
from service.actions.derive_scope import Scope, changed, scope
from service.actions.ports import Work
from service.actions.sheet import Sheet
from service.actions.writing import decoded
from service.basics.coding import Coding
from service.basics.ids import new_id
from service.exam.agreement import Disagreement, disagreements
from service.exam.derived import Derived, derive
from service.exam.entries import live, take_back
from service.exam.spread import targets
from service.exam.survey import Entry
from service.exam.survey_state import note
from service.fhir.writing.derived import Mark, derived_observation, marked, renewed
from service.fhir.writing.observation import Setting

Json = dict[str, Any]
Sides = dict[str, Coding]


@dataclass(frozen=True, slots=True)
class _Placed:
    """A result with its Observation's id, and whether that Observation is there already."""

    derived: Derived
    id: str
    known: bool


def derived(work: Work, before: Sheet, after: Sheet, *, sent: Sequence[Json] = ()) -> Sheet:
    """The sheet with every result that its readings give now: new ones made, others in a new version or withdrawn.

    sent: the resources being written; a result among them that its own inputs contradict is marked in place."""
    places = changed(before, after, sent)
    wanted = scope(after, places) if places else Scope()
    if not wanted:
        return after
    inputs = read_inputs(work, after, wanted, sent=sent)
    rules = after.rules
    found = derive(
        inputs.readings,
        computations=wanted.computations,
        averaged=rules.formulas.get("MEAN"),
        measures=rules.measures,
        facts=inputs.facts,
    )
    found = tuple(d for d in found if wanted.covers(d) and targets(d.computation.structure, after.steps, station=None))
    existing = {e.act: e for s in after.steps for e in live(s) if wanted.covers_act(e.act)}
    placed = [_place(d, existing) for d in found]
    after = _entered(after, placed, gone={e.act for e in existing.values()} - {d.name for d in found})
    written = [*_observations(work, after, placed, inputs), *_marks(inputs, placed, found)]
    return replace(after, written=(*after.written, *written))


def _place(one: Derived, existing: dict[str, Entry]) -> _Placed:
    known = existing.get(one.name)
    return _Placed(one, known.source.partition("/")[2] if known else new_id(), known is not None)


def _entered(sheet: Sheet, placed: Iterable[_Placed], *, gone: set[str]) -> Sheet:
    """Each new result entered for the steps of its structure, and what can't be computed any more taken back."""
    steps = {s.rule.code: s for s in sheet.steps}
    if gone:
        for code, step in steps.items():
            stale = [e for e in live(step) if e.act in gone]
            steps[code] = take_back(step, stale, at=sheet.now)
    for one in placed:
        row = one.derived.computation
        entry = Entry(
            f"measure:{row.measure}", f"Observation/{one.id}", one.derived.at or sheet.now, "", act=one.derived.name
        )
        if not one.known:
            for step in targets(row.structure, list(steps.values()), station=None):
                steps[step.rule.code] = note(step, [entry])
    return replace(sheet, steps=tuple(steps.values()))


def _observations(work: Work, sheet: Sheet, placed: Sequence[_Placed], inputs: Inputs) -> list[Json]:
    """The Observations that are new, or say something else than before."""
    ids = {one.derived.name: f"Observation/{one.id}" for one in placed}
    stored = work.get_many(("Observation", one.id) for one in placed if one.known)
    made: list[Json] = []
    for one in placed:
        resource = _observation(sheet, one, ids=ids, sides=inputs.sides)
        before = stored.get(("Observation", one.id))
        fresh = renewed(decoded(before), resource) if before else resource
        if fresh is not None:
            made.append(fresh)
    return made


def _observation(sheet: Sheet, one: _Placed, *, ids: dict[str, str], sides: Sides) -> Json:
    row, rules = one.derived.computation, sheet.rules
    structure = rules.structures[row.structure]
    rule = rules.measures[row.species, row.structure, row.measure]
    setting = Setting(sheet.exam.order, sheet.exam.animal, structure, structure.title)
    sources = [ids.get(s, s) for s in one.derived.sources if s]
    return derived_observation(
        one.id, one.derived, sources=sources, rule=rule, setting=setting, side=sides.get(one.derived.side)
    )


def _marks(inputs: Inputs, placed: Sequence[_Placed], found: Sequence[Derived]) -> list[Json]:
    """Results that were sent, marked where their own inputs contradict them; those being written in place."""
    ids = {one.derived.name: f"Observation/{one.id}" for one in placed}
    own = [r for r in inputs.readings if inputs.compared(r)]
    wrong: dict[str, list[Disagreement]] = {r.source: [] for r in own}
    for one in disagreements(own, found):
        wrong[one.sent.source].append(one)
    changed_: list[Json] = []
    for source, many in wrong.items():
        resource = inputs.resources.get(source)
        marks = [Mark(d.sent.part, ids[d.computed.name], _words(d, inputs.resources)) for d in many]
        fresh = marked(resource, marks) if resource else None
        if resource is None or fresh is None:
            continue
        if source in inputs.sent:
            resource.clear()
            resource.update(fresh)
        else:
            changed_.append(fresh)
    return changed_


def _words(one: Disagreement, resources: Mapping[str, Json]) -> str:
    """Both values as they are shown: that of the sender and that of its own inputs."""
    sent = resources[one.sent.source]
    element = sent["component"][one.sent.part] if one.sent.part >= 0 else sent
    given = element.get("valueQuantity", {})
    formula = one.computed.computation.formula
    said = _amount(given.get("value", element.get("valueInteger")), str(given.get("code", "1")))
    return f"{formula.title}: {said} was sent, its own inputs give {_amount(one.computed.shown, formula.unit)}"


def _amount(value: Any, unit: str) -> str:
    return f"{value}" if unit in {"1", "{ratio}", "{score}"} else f"{value} {unit}"
