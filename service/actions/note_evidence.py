"""Evidence sent for an exam into its steps: each Observation, Media and ImagingStudy settles what it proves."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from service.actions import derive, judge, lesions, referral_told, suggest_urgent
from service.actions.ports import Caller, House, Work
from service.actions.survey_acts import act_on
from service.actions.survey_entering import Entering
from service.actions.survey_sheet import Sheet, keep, listed, open_sheet, settled
from service.actions.writing import decoded
from service.basics.errors import Fault, RuleBroken
from service.basics.ids import new_id
from service.basics.stored import Exam
from service.exam import out_of_vocabulary
from service.exam.act import Act
from service.exam.entries import live
from service.exam.evidence import Evidence, Sighting, Unmapped
from service.exam.measure import implausible
from service.exam.survey import Step
from service.fhir.reading.evidence import source

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Understood:
    """One resource as the mappings understand it."""

    source: str
    retracted: bool
    found: list[Evidence | Unmapped]


def note(
    house: House,
    work: Work,
    caller: Caller,
    exam: Exam,
    resources: Sequence[Json],
    *,
    places: Sequence[str] = (),
    patients: Mapping[str, Json] | None = None,
) -> list[Json]:
    """What the evidence changes beside itself: Tasks of steps and exam, Observations made or withdrawn, to be written.

    Runs within the open work. Raises Conflict when the exam takes nothing more, RuleBroken with every measurement that
    is implausible and unconfirmed. The same evidence again changes nothing; entered-in-error takes back what rested
    on it. Measurements get their verdict in place. places: the places of the resources in their Bundle, for the faults;
    patients: those written in the same transaction, by id."""
    before = open_sheet(house, work, exam)
    made = lesions.identify(house, work, before, resources, places)
    understood = list(_read(before, resources))
    faults = list(_implausible(before, understood, places))
    if faults:
        raise RuleBroken(*faults)
    sent = [source(r) for r in resources]
    after = taken(before, [*understood, *_read(before, _waiting(work, before, sent))], by=caller.label)
    work.count_unmapped(_unmapped(before, after))
    after = derive.derived(work, before, after, sent=resources)
    after, urgent = suggest_urgent.suggest(work, before, after, sent=resources)
    changed = [*made, *keep(work, before, after, sent=sent), *urgent]
    referral_told.begun(house, work, exam)
    told = [(r, one.found) for r, one in zip(resources, understood, strict=True)]
    return judge.judge_all(work, before, after, changed, sent=told, patients=patients)


def taken(sheet: Sheet, evidence: Sequence[Understood], *, by: str) -> Sheet:
    """The sheet after the evidence: once more for all of it when an answer among it added steps."""
    known = {s.rule.code for s in sheet.steps}
    after = settled(_entered(sheet, evidence, by=by))
    if {s.rule.code for s in after.steps} != known:
        after = settled(_entered(after, evidence, by=by))
    return after


def again(work: Work, sheet: Sheet, *, by: str) -> Sheet:
    """The sheet after all that was listed as without a place has been tried again: by new rows, or for new steps."""
    return taken(sheet, list(_read(sheet, _waiting(work, sheet, []))), by=by)


def _read(sheet: Sheet, resources: Iterable[Json]) -> Iterator[Understood]:
    for resource in resources:
        retracted = resource.get("status") == "entered-in-error"
        yield Understood(source(resource), retracted, sheet.understood(resource))


def _entered(sheet: Sheet, evidence: Sequence[Understood], *, by: str) -> Sheet:
    entering = Entering(sheet, by=by)
    for one in evidence:
        if one.retracted:
            entering.retract(one.source)
        else:
            entering.renew(one.source, one.found)
    sheet = entering.sheet()
    acts = [(code, _act(s, sheet, by=by)) for code, s in sorted(entering.stated, key=lambda pair: pair[1].at)]
    return act_on(sheet, [(code, act) for code, act in acts if not _stands(sheet.step(code), act)])


def _act(sighting: Sighting, sheet: Sheet, *, by: str) -> Act:
    return Act(
        key=new_id(),
        at=sighting.at or sheet.now,
        by=sighting.by or by,
        disposition=sighting.disposition,
        reason=sighting.reason,
        detail=sighting.text,
        operation=sighting.operation if sighting.disposition == "absent-surgical" else "",
        window=sighting.window,
        station=sighting.station,
        source=sighting.source,
    )


def _stands(step: Step, act: Act) -> bool:
    return any(e.source == act.source and e.item == f"disposition:{act.disposition}" for e in live(step))


def _waiting(work: Work, sheet: Sheet, sent: Sequence[str]) -> Iterator[Json]:
    """The stored resources that are listed as without a place, and are not being sent again."""
    sources = {e.source for e in listed(sheet, "unmapped", "outside")} - set(sent)
    keys = [(s.partition("/")[0], s.partition("/")[2]) for s in sorted(sources)]
    return (decoded(s) for s in work.get_many(keys).values() if not s.deleted) if keys else iter(())


def _unmapped(before: Sheet, after: Sheet) -> Iterator[tuple[str, str, str, str]]:
    """(what, system, code, display) of each code without a mapping that was not listed before."""
    known = {(e.item, e.source, e.note) for e in listed(before, "unmapped")}
    for entry in listed(after, "unmapped"):
        if (entry.item, entry.source, entry.note) not in known:
            system, _, code = entry.note.rpartition("|")
            yield entry.item.partition(":")[2], system, code, entry.value


def _implausible(sheet: Sheet, evidence: Sequence[Understood], places: Sequence[str]) -> Iterator[Fault]:
    for index, one in enumerate(evidence):
        place = places[index] if index < len(places) else ""
        for found in one.found:
            if not one.retracted:
                yield from (f.inside(place) if place else f for f in _wrong(sheet, found))


def _wrong(sheet: Sheet, found: Evidence | Unmapped) -> Iterator[Fault]:
    if isinstance(found, Evidence):
        yield from _measured(sheet, found)
    elif fault := out_of_vocabulary.fault(found, sheet.rules):
        yield fault


def _measured(sheet: Sheet, found: Evidence) -> Iterator[Fault]:
    seen = found.sighting
    for item in found.items:
        rule = sheet.rules.measures.get((sheet.scope.animal.species, found.structure, item.partition(":")[2]))
        if not item.startswith("measure:") or rule is None or seen.quantity is None:
            continue
        fault = implausible(seen.quantity, seen.unit, rule=rule, units=sheet.rules.units, confirmed=seen.confirmed)
        if fault is not None:
            yield replace(fault, text=f"{sheet.rules.structures[found.structure].title}: {fault.text}")


__all__ = ["again", "note", "taken"]
