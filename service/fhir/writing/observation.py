"""What an explicit act states of a structure, or answers about the animal, into its Observation."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from service.exam.asking import NEUTERED, SEX, TESTES
from service.exam.entries import was_left
from service.exam.rules import Reason, Structure
from service.exam.settle import Statement
from service.exam.survey import Entry
from service.fhir import uris

Json = dict[str, Any]
_REFERENCE = re.compile(r"[A-Z][A-Za-z]+/[A-Za-z0-9\-.]{1,64}")
# answer -> (code of the note, system of the answer's code)
NOTES: Mapping[str, tuple[str, str, str]] = {
    SEX: ("sex", uris.GENDER, "Sex found at the exam"),
    NEUTERED: ("sex", uris.NEUTER, "Neuter status found at the exam"),
    TESTES: ("testes", "", "Number of testes in the scrotum"),
}
SAID: Mapping[str, str] = {
    "seen-part": "Seen in part",
    "not-seen": "Not seen",
    "absent-surgical": "Absent after surgery",
    "absent-unexplained": "Not found, without an operation on record",
}


@dataclass(frozen=True, slots=True)
class Setting:
    """Of which exam, animal and structure an Observation speaks. structure is None for an answer about the animal."""

    order: str
    animal: str
    structure: Structure | None
    title: str  # of the step


def observation(id_: str, said: Statement, *, setting: Setting) -> Json:
    """The preliminary Observation of a statement that is written beside the Task (finding, not-assessed, disposition,
    answer); finishing makes it final."""
    entry = said.entry
    resource = _shell(id_, entry, setting)
    write = {"finding": _finding, "not-assessed": _not_assessed, "disposition": _disposition, "answer": _answer}
    resource |= write[said.writes](said, setting)
    return {k: resource[k] for k in sorted(resource, key=_place)}


def withdrawn(resource: Json) -> Json:
    """The Observation as entered in error: what it stated was taken back or gave way to what was sent."""
    return {**resource, "status": "entered-in-error"}


def shell(id_: str, setting: Setting, *, at: str) -> Json:
    """What every Observation of ours begins with: of which exam, animal and structure it is, and when it was so."""
    resource: Json = {
        "resourceType": "Observation",
        "id": id_,
        "identifier": [{"system": uris.ID, "value": id_}],
        "basedOn": [{"reference": f"ServiceRequest/{setting.order}"}],
        "status": "preliminary",
        "category": [{"coding": [{"system": uris.CATEGORY, "code": "imaging"}]}],
        "subject": {"reference": f"Patient/{setting.animal}"},
        **({"effectiveDateTime": at} if at else {}),
    }
    if setting.structure is not None:
        resource["bodySite"] = _site(setting.structure)
    return resource


def _shell(id_: str, entry: Entry, setting: Setting) -> Json:
    resource = shell(id_, setting, at=entry.at)
    extension: list[Json] = []
    if entry.window:
        extension.append({"url": uris.X_WINDOW, "valueString": entry.window})
    if entry.station:
        extension.append({"url": uris.X_STATION, "valuePositiveInt": entry.station})
    if extension:
        resource["extension"] = extension
    if entry.by:
        resource["performer"] = [{"reference" if _REFERENCE.fullmatch(entry.by) else "display": entry.by}]
    return resource


def _site(structure: Structure) -> Json:
    codings = [
        {"system": c.system, "code": c.code, **({"display": c.display} if c.display else {})} for c in structure.site
    ]
    return {"coding": codings, "text": structure.title} if codings else {"text": structure.title}


def _finding(said: Statement, setting: Setting) -> Json:
    attribute, value = said.attribute, said.value
    assert attribute is not None
    assert value is not None
    vocabulary = setting.structure.vocabulary if setting.structure else ""
    code = f"{vocabulary}.{attribute.key}.{value.code}"
    concept = {"coding": [{"system": uris.FINDING, "code": code, "display": value.display}]}
    found: Json = {"code": _attribute(said), "valueCodeableConcept": concept}
    if value.grade >= 0:
        code, word = ("N", "Normal") if value.grade == 0 else ("A", "Abnormal")
        found["interpretation"] = [{"coding": [{"system": uris.INTERPRETATION, "code": code, "display": word}]}]
    return found


def _attribute(said: Statement) -> Json:
    attribute = said.attribute
    assert attribute is not None
    return {"coding": [{"system": uris.ATTRIBUTE, "code": attribute.key}], "text": attribute.title}


def _not_assessed(said: Statement, setting: Setting) -> Json:
    return {"code": _attribute(said), "dataAbsentReason": _absent(said.entry, said.reason)}


def _disposition(said: Statement, setting: Setting) -> Json:
    code = said.entry.item.partition(":")[2]
    concept = {"coding": [{"system": uris.DISPOSITION, "code": code}], "text": f"{setting.title}: {SAID[code].lower()}"}
    if code == "not-seen":
        return {"code": concept, "dataAbsentReason": _absent(said.entry, said.reason)}
    found: Json = {"code": concept, "valueCodeableConcept": {"text": SAID[code]}}
    if code == "seen-part":
        limit = {"coding": [{"system": uris.ITEM, "code": "limitation"}], "text": "Limited by"}
        found["component"] = [{"code": limit, "valueCodeableConcept": _reason(said.entry, said.reason)}]
    elif code == "absent-surgical":
        operation, _, basis = said.entry.note.partition("; ")
        found["valueCodeableConcept"] = {"text": operation}
        found["note"] = [{"text": basis}]
    elif said.entry.note:
        found["note"] = [{"text": said.entry.note}]
    return found


def _absent(entry: Entry, reason: Reason | None) -> Json:
    """dataAbsentReason: HL7's code (unknown: looked for in vain; not-performed: not looked for) and our reason."""
    tried = reason is not None and reason.counts_as_examined and not was_left(entry)
    general = {"system": uris.DATA_ABSENT, "code": "unknown" if tried else "not-performed"}
    own = _reason(entry, reason)
    return {"coding": [general, *own.get("coding", [])], "text": own["text"]}


def _reason(entry: Entry, reason: Reason | None) -> Json:
    words = reason.display if reason else entry.reason
    coding = [{"system": uris.REASON, "code": entry.reason, "display": words}] if entry.reason else []
    text = f"{words} ({entry.note})" if entry.note else words
    return {"coding": coding, "text": text} if coding else {"text": text}


def _answer(said: Statement, setting: Setting) -> Json:
    code, system, title = NOTES[said.entry.item]
    concept = {"coding": [{"system": uris.NOTE, "code": code}], "text": title}
    if not system:
        return {"code": concept, "valueInteger": int(said.entry.value)}
    value = {"coding": [{"system": system, "code": said.entry.value}], "text": said.entry.value.capitalize()}
    return {"code": concept, "valueCodeableConcept": value}


_ORDER = (
    "resourceType", "id", "extension", "identifier", "basedOn", "status", "category", "code", "subject",
    "effectiveDateTime", "performer", "valueCodeableConcept", "valueInteger", "dataAbsentReason", "interpretation",
    "note", "bodySite", "component",
)  # fmt: skip


def _place(key: str) -> int:
    return _ORDER.index(key)
