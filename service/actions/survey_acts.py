"""Explicit acts on the steps of a sheet into the sheet after them."""

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from service.actions.survey_sheet import Sheet
from service.basics.errors import Conflict, Fault, RuleBroken
from service.basics.ids import new_id
from service.exam import settle
from service.exam.act import Act
from service.exam.entries import take_back
from service.exam.settle import Settled, Statement
from service.exam.survey import Entry, Step
from service.exam.survey_state import note
from service.fhir.writing.observation import Setting, observation

Json = dict[str, Any]


def act_on(sheet: Sheet, acts: Iterable[tuple[str, Act]]) -> Sheet:
    """The sheet after acts, each on the step of a code; raises Conflict or RuleBroken with the faults of all."""
    faults: list[Fault] = []
    for code, act in acts:
        step = sheet.step(code)
        settled = settle.decide(step, act, attributes=sheet.attributes(step), reasons=sheet.rules.reasons)
        faults += [*settled.faults, *_planes(sheet, act)]
        if not settled.faults and not settled.unchanged:
            sheet = _applied(sheet, step, settled=settled, act=act)
    if faults:
        raise (Conflict if any(f.reason == "conflict" for f in faults) else RuleBroken)(*faults)
    return sheet


def _applied(sheet: Sheet, step: Step, *, settled: Settled, act: Act) -> Sheet:
    entries: list[Entry] = []
    written: list[Json] = []
    for said in settled.made:
        if said.writes:
            id_ = new_id()
            written.append(observation(id_, said, setting=_setting(sheet, step)))
            said = replace(said, entry=replace(said.entry, source=f"Observation/{id_}"))
        entries.append(said.entry)
    after = note(take_back(step, settled.ended, at=act.at, by=act.by), entries)
    return replace(sheet.with_steps([after]), written=(*sheet.written, *written))


def _setting(sheet: Sheet, step: Step) -> Setting:
    structure = sheet.rules.structures.get(step.rule.structure)
    return Setting(sheet.exam.order, sheet.exam.animal, structure, step.rule.title)


def _planes(sheet: Sheet, act: Act) -> list[Fault]:
    known = sorted(set(sheet.rules.planes.values()))
    return [
        Fault(
            "code-invalid",
            f'"{p}" is no plane; it can be {", ".join(known)}.',
            "Parameters.parameter.where(name='plane')",
        )
        for p in act.planes
        if p not in known
    ]


__all__ = ["Statement", "act_on"]
