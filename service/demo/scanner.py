"""A scanner that does what the Tasks say is owed: it reads their input and answers with images, values and findings."""

from collections.abc import Iterable, Mapping
from typing import Any

from service.demo import evidence
from service.demo.stage import Exam
from service.demo.trouble import Trouble
from service.fhir import uris

Json = dict[str, Any]

# The few steps that look at a structure under another name.
STRUCTURES: Mapping[str, str] = {
    "prostate_neutered": "prostate",
    "medial_iliac_nodes_cat": "medial_iliac_nodes",
    "duodenal_papilla_recheck": "duodenal_papilla",
}
# What the examiner says where no single answer is the expected one; by "structure.attribute", else by attribute.
SEEN: Mapping[str, str] = {
    "gallbladder.wall": "gallbladder.wall.thin",
    "gallbladder.mobility": "gallbladder.mobility.mobile",
    "common_bile_duct.visibility": "common_bile_duct.visibility.visible-normal",
    "common_bile_duct.content": "common_bile_duct.content.anechoic",
    "duodenal_papilla.appearance": "duodenal_papilla.appearance.normal",
    "portal_vein.flow-direction": "portal_vein.flow-direction.toward-liver",
    "medullary-rim": "kidney.medullary-rim.absent",
    "mineral": "adrenal.mineral.none",
    "urinary_bladder.fill": "urinary_bladder.fill.moderate",
    "urinary_bladder.content": "urinary_bladder.content.anechoic",
    "stomach_fundus_body.lumen": "gut.lumen.gas",
    "pylorus.lumen": "gut.lumen.empty",
    "duodenum.lumen": "gut.lumen.empty",
    "jejunum.lumen": "bowel.lumen.empty",
    "ileum.lumen": "bowel.lumen.empty",
    "colon.lumen": "gut.lumen.ingesta",
    "duct": "pancreas.duct.not-seen",
    "echogenicity": "lymph_node.echogenicity.iso-fat",
    "flow": "lymph_node.flow.not-done",
}


def owed(task: Json) -> list[tuple[str, str]]:
    """What a step still needs: (code, words) of each thing."""
    return [(_code(i["type"]), str(i["type"]["text"])) for i in task.get("input", [])]


def station(task: Json) -> int:
    """The station of a step; 0 for what is asked before the survey."""
    found = [e["valuePositiveInt"] for e in task.get("extension", []) if e["url"] == uris.X_STATION]
    return int(found[0]) if found else 0


def step(task: Json) -> str:
    """The code of a step."""
    return _code(task["code"])


def structure(task: Json) -> str:
    """The structure that a step looks at."""
    return STRUCTURES.get(step(task), step(task))


def title(task: Json) -> str:
    """The step in words."""
    return str(task["code"]["coding"][0]["display"])


def state(task: Json) -> str:
    """How the step stands: not-yet, partly, seen, deferred ..."""
    return _code(task["businessStatus"])


def evidence_for(exam: Exam, task: Json) -> list[Json]:
    """The images and measurements that a step asks for; findings are said apart, by a person."""
    where = structure(task)
    codes = [code for code, _ in owed(task)]
    planes = [c.partition(":")[2] for c in codes if c.startswith("plane:")]
    wanted = planes or (["long"] if {"still", "clip"} & set(codes) else [])
    found = [evidence.still(exam, where, plane) for plane in wanted]
    if "clip" in codes:
        found.append(evidence.clip(exam, where, wanted[0]))
    measures = [c.partition(":")[2] for c in codes if c.startswith("measure:")]
    return found + [evidence.measurement(exam, where, m, plane=_plane_of(m, planes)) for m in measures]


def answer(task: Json, code: str) -> str:
    """The examiner's answer to one statement owed, as "vocabulary.attribute.value"; raises Trouble when it has none."""
    kind, _, attribute = code.partition(":")
    value = SEEN.get(f"{structure(task)}.{attribute}") or SEEN.get(attribute)
    if kind != "finding" or value is None:
        raise Trouble(f"{title(task)}: nobody in the demo can answer for {code}")
    return value


def findings_for(exam: Exam, tasks: Iterable[Json]) -> list[Json]:
    """What the examiner states of everything that "as expected" does not say by itself."""
    return [evidence.finding(exam, structure(t), answer(t, code)) for t in tasks for code, _ in owed(t)]


def _code(concept: Json) -> str:
    return str(concept["coding"][0]["code"])


def _plane_of(measure: str, planes: list[str]) -> str:
    """A length is taken in the long axis, all else across where there is a choice."""
    if not planes:
        return ""
    return planes[0] if measure == "length" else planes[-1]
