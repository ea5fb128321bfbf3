"""The measurements of an exam into verdicts on their Observations, and anew when circumstances change."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from service.actions.case import Case
from service.actions.ports import View
from service.actions.sheet import Sheet, listed
from service.actions.survey_sheet import WHOLE
from service.actions.writing import decoded
from service.catalogue.catalogue import Catalogue
from service.exam.circumstances import BLADDER, Circumstances, circumstances
from service.exam.entries import head, live
from service.exam.evidence import Evidence, Unmapped
from service.exam.matching import match
from service.exam.moments import earliest
from service.exam.survey import Step
from service.exam.verdict import Verdict, judge
from service.fhir.reading.evidence import sightings, source
from service.fhir.reading.patient import born
from service.fhir.reading.task import entries
from service.fhir.writing.judgement import judged

Json = dict[str, Any]
Found = Iterable[Evidence | Unmapped]
UNPLACED = "It is not known which measurement of which structure this is, so it is not compared with a limit."


@dataclass(frozen=True, slots=True)
class Judge:
    """By which rows and for which animal."""

    rules: Catalogue
    known: Circumstances

    def judged(self, resource: Json, found: Found) -> Json:
        """The resource with a verdict on each measurement that it holds; itself when it holds none."""
        if resource["resourceType"] != "Observation" or resource.get("status") == "entered-in-error":
            return resource
        for part, verdict in self._verdicts(found).items():
            if part < 0:
                resource = judged(resource, verdict, species=self._species())
            else:
                parts = list(resource["component"])
                parts[part] = judged(parts[part], verdict, species=self._species())
                resource = {**resource, "component": parts}
        return resource

    def _verdicts(self, found: Found) -> dict[int, Verdict]:
        """The verdict on each part of one Observation; -1 stands for the Observation itself."""
        told: dict[int, Verdict] = {}
        for one in found:
            seen = one.sighting
            if isinstance(one, Unmapped):
                if seen.quantity is not None:
                    told.setdefault(seen.part, Verdict(reason=UNPLACED))
                continue
            for item in one.items:
                if item.startswith("measure:"):
                    told[seen.part] = self.verdict(one, item.partition(":")[2])
        return told

    def verdict(self, one: Evidence, measure: str) -> Verdict:
        """The verdict on one measurement, by its unrounded value where it was computed here."""
        seen = one.sighting
        planes = [item.partition(":")[2] for item in one.items if item.startswith("plane:")]
        return judge(
            one.structure,
            measure,
            seen.quantity if seen.unrounded is None else seen.unrounded,
            seen.unit,
            circumstances=self.known,
            rules=self.rules,
            plane=planes[0] if planes else "",
            site=seen.place,
            formula=seen.formula,
        )

    def _species(self) -> Json:
        """The animal's species as its first code says it."""
        name = self.known.species
        coding = [{"system": s, "code": c} for (s, c), kind in self.rules.species.items() if kind == name]
        return {"coding": coding[:1], "text": name} if coding else {"text": name}


def judge_all(
    work: View,
    before: Sheet,
    after: Sheet,
    changed: list[Json],
    *,
    sent: Iterable[tuple[Json, Found]] = (),
    patients: Mapping[str, Json] | None = None,
) -> list[Json]:
    """What is to be written, with verdicts: `changed`, and the stored Observations whose verdict is another one now.

    What is sent is judged in place. sent: the resources that the caller writes itself, with what they say; patients:
    those written in the same transaction."""
    told, held = list(sent), _held(after)
    found_place, moved = held - _held(before), bool(patients) or _hanging(before) != _hanging(after)
    measured = any(one.sighting.quantity is not None for _, found in told for one in found)
    if not (measured or found_place or (held and moved)):
        return changed
    at = after.exam.started or earliest([e.at for s in (*after.steps, after.whole) for e in live(s)]) or after.now
    stored = _stored(work, after.exam.animal)
    now = known(after, (patients or {}).get(after.exam.animal) or stored, at=at)
    judging = Judge(after.rules, now)
    for resource, found in told:
        _in_place(resource, judging.judged(resource, found))
    made = [judging.judged(r, after.understood(r)) if r["resourceType"] == "Observation" else r for r in changed]
    affected = held if moved and now != known(before, stored, at=at) else found_place
    return [*made, *_anew(work, judging, affected - {source(r) for r in (*changed, *(r for r, _ in told))})]


def _hanging(sheet: Sheet) -> list[object]:
    """What is entered that verdicts can hang on: notes, answers about the animal, the state of the bladder."""
    return [sheet.whole, *(s for s in sheet.steps if not s.rule.station or s.rule.structure == BLADDER)]


def _in_place(resource: Json, judged_: Json) -> None:
    if judged_ is not resource:
        resource.clear()
        resource.update(judged_)


def known(sheet: Sheet, patient: Json, *, at: str) -> Circumstances:
    """The circumstances of an exam that is being worked on."""
    animal = replace(sheet.scope.animal, born=born(patient))
    return circumstances(animal, sheet.steps, sheet.whole, at=at)


def known_of(case: Case, *, at: str) -> Circumstances:
    """The circumstances of a whole case."""
    animal = replace(case.order.animal, born=born(case.patient))
    return circumstances(animal, case.steps, Step(case.exam.id, WHOLE, entries(case.task)), at=at)


def whole(case: Case, *, at: str) -> Case:
    """The case with every measurement judged anew. at: when it was scanned."""
    judging = Judge(case.catalogue, known_of(case, at=at))
    return replace(case, observations=tuple(judging.judged(o, case.understood(o)) for o in case.observations))


def _anew(work: View, judging: Judge, sources: Iterable[str]) -> Iterator[Json]:
    """The stored Observations whose verdict is another one now."""
    keys = [(s.partition("/")[0], s.partition("/")[2]) for s in sorted(sources)]
    for stored in work.get_many(keys).values() if keys else ():
        if stored.deleted:
            continue
        before = decoded(stored)
        after = judging.judged(before, _found(judging, before))
        if after != before:
            yield after


def _found(judging: Judge, resource: Json) -> list[Evidence | Unmapped]:
    return [m for s in sightings(resource) for m in match(s, judging.rules, judging.known.species)]


def _held(sheet: Sheet) -> set[str]:
    """The sources of all measurements entered, of structures too that the exam does not ask for."""
    steps = {e.source for s in (*sheet.steps, *sheet.shelved) for e in live(s) if head(e) == "measure"}
    return {s for s in steps | {e.source for e in listed(sheet, "outside")} if s.startswith("Observation/")}


def _stored(work: View, animal: str) -> Json:
    stored = work.get("Patient", animal)
    return decoded(stored) if stored is not None and not stored.deleted else {}
