"""What was entered for an exam into suggestions of urgent findings: made, renewed and let go with what they rest on."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from service.actions.ports import Work
from service.actions.sheet import Sheet
from service.actions.urgent_facts import facts, subject, understood
from service.actions.writing import decoded
from service.basics.ids import new_id
from service.exam import urgent, urgent_state
from service.exam.entries import live
from service.exam.evidence import Evidence
from service.exam.survey import Entry, Step
from service.exam.urgent import Fact
from service.fhir.reading.task import entries
from service.fhir.reading.urgent import ON_EXAM, tier
from service.fhir.writing.urgent import Place, finding_task, restarted, update_finding

Json = dict[str, Any]
Wanted = frozenset[tuple[str, str]]  # (structure, item)
Because = Mapping[str, tuple[Fact, ...]]


def suggest(work: Work, before: Sheet, after: Sheet, *, sent: Iterable[Json] = ()) -> tuple[Sheet, list[Json]]:
    """(the sheet with its urgent findings named on the exam, the Tasks of those that changed, to be written).

    sent: the resources of evidence that are about to be written. Nothing is decided here: a person does that."""
    wanted = after.rules.urgent_items
    said = {f"{r['resourceType']}/{r.get('id', '')}": _said(after, r) for r in (*sent, *after.written)}
    if not _concerned(before, after, said.values(), wanted):
        return after, []
    found = urgent.suggested(
        facts(work, after, wanted, sent=said),
        after.rules.urgent.values(),
        species=after.scope.animal.species,
        units=after.rules.units,
    )
    known = {e.item.removeprefix(ON_EXAM): e.source for e in live(after.whole) if e.item.startswith(ON_EXAM)}
    if not found and not known:
        return after, []
    return _reconciled(work, after, found, known)


def _said(sheet: Sheet, resource: Json) -> list[Evidence]:
    return [] if resource.get("status") == "entered-in-error" else understood(sheet, resource)


def _concerned(before: Sheet, after: Sheet, said: Iterable[Sequence[Evidence]], wanted: Wanted) -> bool:
    """Whether anything changed that a trigger looks at: an entry came or went, or a value was sent again."""
    if any((one.structure, subject(item)) in wanted for found in said for one in found for item in one.items):
        return True
    old = {s.task: s for s in (*before.steps, before.whole)}
    new = {s.task: s for s in (*after.steps, after.whole)}
    changed = (task for task in old | new if old.get(task) is not new.get(task))
    return any(_looked_at(old.get(task), wanted) != _looked_at(new.get(task), wanted) for task in changed)


def _looked_at(step: Step | None, wanted: Wanted) -> set[tuple[str, str, str]]:
    """What a step holds that a trigger looks at."""
    if step is None:
        return set()
    return {(e.item, e.source, e.value) for e in live(step) if (step.rule.structure, subject(e.item)) in wanted}


def _reconciled(work: Work, sheet: Sheet, found: Because, known: Mapping[str, str]) -> tuple[Sheet, list[Json]]:
    stored = work.get_many(("Task", source.partition("/")[2]) for source in known.values())
    tasks = {s.id: decoded(s) for s in stored.values()}
    written: list[Json] = []
    for code in (*known, *(c for c in found if c not in known)):
        if code not in known:
            task, sheet = _begun(sheet, code, found[code])
            written.append(task)
        elif (task := tasks.get(known[code].partition("/")[2], {})) and code in sheet.rules.urgent:
            written += _renewed(sheet, task, found.get(code, ()))
    return sheet, written


def _begun(sheet: Sheet, code: str, because: tuple[Fact, ...]) -> tuple[Json, Sheet]:
    """A new suggestion, and the sheet whose exam names it."""
    rule, exam = sheet.rules.urgent[code], sheet.exam
    id_, rank = new_id(), sheet.rules.tiers[rule.tier]
    task = finding_task(
        id_, Place(exam.id, exam.order, exam.animal), code=code, title=rule.title, tier=rank, now=sheet.now
    )
    held, _ = urgent_state.renewed((), because, at=sheet.now)
    named = Entry(f"{ON_EXAM}{code}", f"Task/{id_}", "", "")  # without a time: it is not what began the exam
    whole = replace(sheet.whole, entries=(*sheet.whole.entries, named))
    done = update_finding(task, held, waits=rank.finish_waits, now=sheet.now)
    return done, replace(sheet, whole=whole)


def _renewed(sheet: Sheet, task: Json, because: tuple[Fact, ...]) -> list[Json]:
    """The suggestion as it rests on what is known now; nothing when that is what it rested on."""
    old = entries(task)
    held, again = urgent_state.renewed(old, because, at=sheet.now)
    if held == old:
        return []
    rank = sheet.rules.tiers[tier(task)]
    task = restarted(task, rank, now=sheet.now) if again else task
    return [update_finding(task, held, waits=rank.finish_waits, now=sheet.now)]
