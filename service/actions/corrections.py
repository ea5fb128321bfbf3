"""Corrected Observations of a finished exam, as an amendment brings them, into the case as it then stands."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from service.actions import note_evidence
from service.actions.case import Case
from service.actions.ports import Caller, House, Work
from service.basics.errors import Fault, Invalid, RuleBroken
from service.fhir import validate
from service.fhir.reading.task import is_shelved, read_step, step_code

Json = dict[str, Any]
STATUS = {"amended": "amended", "corrected": "corrected", "appended": "amended"}  # Observation has no "appended"
FIXED = ("basedOn", "subject", "code", "bodySite")


@dataclass(frozen=True, slots=True)
class Corrected:
    """The Observations in their new version and the Tasks whose entries they changed, all to be written."""

    observations: tuple[Json, ...] = ()
    others: tuple[Json, ...] = ()


def take(
    house: House, work: Work, caller: Caller, case: Case, given: Sequence[Any], *, kind: str
) -> tuple[Case, Corrected]:
    """The case with the corrections in it. kind: amended, corrected or appended.

    Raises Invalid for what is no R4 Observation, RuleBroken for one that is not the exam's, is about something else
    than before, or would leave a step open again."""
    if not given:
        return case, Corrected()
    known = {o["id"]: o for o in case.observations}
    faults = [f for i, one in enumerate(given) for f in _faults(one, known, f"Parameters.parameter[{i}].resource")]
    if faults:
        raise (Invalid if any(f.reason != "business-rule" for f in faults) else RuleBroken)(*faults)
    observations = tuple({**one, "status": STATUS[kind]} for one in given)
    open_again = replace(case.exam, state="in-progress")  # the survey takes nothing of a finished exam otherwise
    others = tuple(_final(o, kind) for o in note_evidence.note(house, work, caller, open_again, observations))
    work.save_exam(case.exam)
    _none_owed(others)
    return _merged(case, observations, others), Corrected(observations, others)


def _final(changed: Json, kind: str) -> Json:
    """What was computed anew bears the report's status: a first result final, another one that of the correction."""
    if changed["resourceType"] != "Observation" or changed.get("status") == "entered-in-error":
        return changed
    return {**changed, "status": "final" if changed.get("status") == "preliminary" else STATUS[kind]}


def _faults(one: Any, known: dict[str, Json], place: str) -> Iterator[Fault]:
    if not isinstance(one, dict) or one.get("resourceType") != "Observation":
        yield Fault("structure", "`observation` holds a whole Observation as resource.", place)
        return
    wrong = validate.check(one)
    if wrong:
        yield from (f.inside(place) for f in wrong)
        return
    before = known.get(one.get("id", ""))
    if before is None:
        yield Fault("business-rule", "This is no Observation of the exam: correct one that it has, by its id.", place)
        return
    for element in FIXED:
        if one.get(element) != before.get(element):
            text = f"A correction keeps its {element}; what was something else is withdrawn or added to in words."
            yield Fault("business-rule", text, f"{place}.{element}")


def _none_owed(others: Sequence[Json]) -> None:
    faults = [
        Fault("business-rule", f"{t.get('description', 'A step')} would be open again.", "Task.status")
        for t in others
        if t["resourceType"] == "Task" and step_code(t) and t["status"] == "ready"
    ]
    if faults:
        raise RuleBroken(*faults)


def _merged(case: Case, observations: Sequence[Json], others: Sequence[Json]) -> Case:
    new = {(r["resourceType"], r["id"]): r for r in (*observations, *others)}
    known = {o["id"] for o in case.observations}
    made = [r for (type_, id_), r in new.items() if type_ == "Observation" and id_ not in known]
    standing = (new.get(("Observation", o["id"]), o) for o in case.observations)
    tasks = tuple(new.get(("Task", t["id"]), t) for t in case.tasks)
    protocol = case.catalogue.protocols[case.order.animal.species]
    return replace(
        case,
        tasks=tasks,
        steps=tuple(read_step(t, protocol) for t in tasks if not is_shelved(t)),
        observations=tuple(o for o in (*standing, *made) if o.get("status") != "entered-in-error"),
    )
