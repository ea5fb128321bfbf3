"""The survey protocol of a species into its PlanDefinition: an action per station, and below it one per step."""

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from service.basics.coding import Coding
from service.exam.rules import Protocol, StepRule
from service.fhir import uris
from service.fhir.writing.conformance import heading

Json = dict[str, Any]


def plan_definition(protocol: Protocol, *, version: str, species: Sequence[Coding]) -> Json:
    """The protocol as the catalogue `version` has it; the Task of an exam names it in instantiatesCanonical."""
    title = f"Systematic ultrasound survey of the abdomen: {protocol.species}"
    url = f"{uris.PROTOCOL}/{protocol.species}"
    return {
        **heading("PlanDefinition", protocol.key, title, url=url, version=version),
        "type": {"coding": [{"system": uris.PLAN_TYPE, "code": "clinical-protocol"}]},
        "useContext": [
            {
                "code": {"system": uris.USE_CONTEXT, "code": "species"},
                "valueCodeableConcept": {"coding": [_coding(c) for c in species], "text": protocol.species},
            }
        ],
        "action": [_station(list(steps)) for _, steps in groupby(protocol.steps, key=lambda step: step.station)],
    }


def _station(steps: Sequence[StepRule]) -> Json:
    first = steps[0]
    return {
        "prefix": str(first.station),
        "title": first.station_title,
        "selectionBehavior": "all",
        "action": [_step(step) for step in steps],
    }


def _step(step: StepRule) -> Json:
    must = "must-unless-documented" if step.owed_from_start else "could"
    output = list(_outputs(step))
    return {
        "prefix": f"{step.station}.{step.sequence}",
        "title": step.title,
        "textEquivalent": "; ".join(_words(step)),
        "code": [{"coding": [{"system": uris.STEP, "code": step.code, "display": step.title}]}],
        **({"output": output} if output else {}),
        "requiredBehavior": must,
        "cardinalityBehavior": "single",
    }


def _words(step: StepRule) -> list[str]:
    """What the row asks for, in the words of its columns."""
    neutered = {True: "neutered", False: "intact", None: ""}[step.neutered]
    only = " ".join(word for word in (neutered, step.sex, step.special.replace("-", " ")) if word)
    return [
        step.requirement.replace("-", " "),
        *([f"only: {only}"] if only else []),
        *([f"planes: {', '.join(step.planes)}"] if step.planes else []),
        *([f"stills: {step.stills}"] if step.stills else []),
        *([f"clip: {step.clip.replace('-', ' ')}"] if step.clip != "no" else []),
        *([f"measure: {', '.join(step.measures)}"] if step.measures else []),
        *([f"may measure: {', '.join(step.may_measure)}"] if step.may_measure else []),
    ]


def _outputs(step: StepRule) -> list[Json]:
    """What evidence the step owes: stills, a clip, a measurement each."""
    found: list[Json] = []
    if step.stills:
        found.append({"type": "Media", "codeFilter": [_filter("type", uris.MEDIA_TYPE, "image")], "limit": step.stills})
    if step.clip == "required":
        found.append({"type": "Media", "codeFilter": [_filter("type", uris.MEDIA_TYPE, "video")]})
    return found + [
        {"type": "Observation", "codeFilter": [_filter("code", uris.MEASURE, measure)]} for measure in step.measures
    ]


def _filter(path: str, system: str, code: str) -> Json:
    return {"path": path, "code": [{"system": system, "code": code}]}


def _coding(coding: Coding) -> Json:
    return {"system": coding.system, "code": coding.code} | ({"display": coding.display} if coding.display else {})
