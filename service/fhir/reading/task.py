"""The Task of a step into the step, and the Task of an exam into what its steps were chosen by."""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from service.basics.errors import Fault, Missing
from service.exam.animal import Animal
from service.exam.protocol import rule_of
from service.exam.rules import Protocol
from service.exam.survey import Entry, Step
from service.fhir import exact, uris

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class _Told:
    """What the Task of a step says, whatever the protocol."""

    task: str
    code: str
    requirement: str
    shelved: bool
    entries: tuple[Entry, ...]


def read_step(task: Json, protocol: Protocol) -> Step:
    """The step of a Task, by the protocol its exam was opened with; raises Missing for a code the protocol lacks."""
    return _step(_told(task), protocol)


def stored_step(body: bytes, protocol: Protocol) -> tuple[Step, bool]:
    """(the step, whether it is shelved) of a step's Task as it is stored; the same text is read once.

    An exam is written to a hundred times, and each time nearly all of its Tasks are as they were."""
    told = _told_by(body)
    return _step(told, protocol), told.shelved


@lru_cache(maxsize=1024)  # the Tasks of some twenty open exams
def _told_by(body: bytes) -> _Told:
    return _told(exact.trusted(body))


def _told(task: Json) -> _Told:
    need = _extension(task, uris.X_REQUIREMENT).get("valueCode", "")
    return _Told(str(task["id"]), step_code(task), need, is_shelved(task), entries(task))


def _step(told: _Told, protocol: Protocol) -> Step:
    rule = rule_of(protocol, told.code)
    if rule is None:
        raise Missing(Fault("not-found", f'The protocol has no step "{told.code}".', "Task.code"))
    if told.requirement not in {"", rule.requirement}:
        rule = replace(rule, requirement=told.requirement)
    return Step(told.task, rule, told.entries)


def step_code(task: Json) -> str:
    """The step code of a Task; "" when it is not the Task of a step."""
    codings = task.get("code", {}).get("coding", [])
    return next((str(c.get("code", "")) for c in codings if c.get("system") == uris.STEP), "")


def is_shelved(task: Json) -> bool:
    """Whether the step does not apply to the animal, as an answer has shown; it is no part of the survey."""
    codings = task.get("businessStatus", {}).get("coding", [])
    return any((c.get("system"), c.get("code")) == (uris.STATE, "out-of-scope") for c in codings)


def entries(task: Json) -> tuple[Entry, ...]:
    """What was entered, in its order; other output (a report) is none."""
    return tuple(_entry(output) for output in task.get("output", []) if _item(output))


def read_basis(task: Json) -> tuple[Animal, str, tuple[str, ...]]:
    """(the animal as it was known, the key of the service, the structures named) by which the exam was opened."""
    facts: dict[str, Any] = {}
    structures: list[str] = []
    for one in task.get("input", []):
        code, value = _item(one), _value(one)
        if code == "basis:structure":
            structures.append(str(value))
        else:
            facts[code.removeprefix("basis:")] = value
    animal = Animal(
        id=str(task.get("for", {}).get("reference", "")).removeprefix("Patient/"),
        species=str(facts.get("species", "")),
        sex=str(facts.get("sex", "")),
        neutered=facts.get("neutered"),
        scrotal_testes=facts.get("scrotal-testes"),
        pregnant=facts.get("pregnant"),
    )
    return animal, str(facts.get("service", "")), tuple(structures)


def _entry(output: Json) -> Entry:
    parts = {p["url"]: _value(p) for p in _extension(output, uris.X_ENTERED).get("extension", [])}
    text = {name: str(parts.get(name, "")) for name in ("at", "by", "value", "reason", "note", "window", "act")}
    return Entry(
        item=_item(output),
        source=str(output.get("valueReference", {}).get("reference", "")),
        station=parts.get("station"),
        retracted_at=str(parts.get("retracted-at", "")),
        retracted_by=str(parts.get("retracted-by", "")),
        **text,
    )


def _item(one: Json) -> str:
    codings = one.get("type", {}).get("coding", [])
    return next((str(c.get("code", "")) for c in codings if c.get("system") == uris.ITEM), "")


def _value(one: Json) -> Any:
    return next((v for k, v in one.items() if k.startswith("value")), None)


def _extension(element: Json, url: str) -> Json:
    found: Json = next((e for e in element.get("extension", []) if e.get("url") == url), {})
    return found
