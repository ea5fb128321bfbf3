"""What was computed from an exam's readings into its Observation, and the mark on what was sent and differs."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from service.basics.coding import Coding
from service.exam.derived import Derived
from service.exam.rules import MeasureRule
from service.fhir import uris
from service.fhir.writing.observation import Setting, shell

Json = dict[str, Any]
OWN = ("effectiveDateTime", "valueQuantity", "method", "derivedFrom", "component")  # what a new reading can change


def derived_observation(
    id_: str, found: Derived, *, sources: Sequence[str], rule: MeasureRule, setting: Setting, side: Coding | None = None
) -> Json:
    """The preliminary Observation of a result; sources are references, side is that of one of several nodes.

    The value has the digits of its row; the extension has all, and they are what a limit is compared with."""
    formula = found.computation.formula
    resource = shell(id_, setting, at=found.at)
    resource["extension"] = [{"url": uris.X_UNROUNDED, "valueDecimal": found.unrounded}]
    resource["code"] = {"coding": [_coding(c) for c in rule.codes], "text": rule.title}
    resource["valueQuantity"] = {
        "value": found.shown, "unit": formula.unit, "system": uris.UCUM, "code": formula.unit,
    }  # fmt: skip
    if side is not None:
        resource["bodySite"]["coding"] = [*resource["bodySite"]["coding"], _coding(side)]
    method = {"system": uris.FORMULA, "code": formula.key, "display": formula.title}
    resource["method"] = {"coding": [*(_coding(c) for c in formula.codes), method], "text": formula.text}
    if sources:
        resource["derivedFrom"] = [{"reference": s} for s in sources]
    if components := list(_components(found)):
        resource["component"] = components
    return resource


def _components(found: Derived) -> Iterable[Json]:
    band = found.computation.formula.band(found.unrounded)
    if band is not None:
        coding = {"system": uris.FORMULA_BAND, "code": band.code, "display": band.display}
        yield {"code": _item("grade", "Grade"), "valueCodeableConcept": {"coding": [coding], "text": band.display}}
    if found.readings:
        yield {"code": _item("readings", "Number of readings"), "valueInteger": found.readings}


def _item(code: str, text: str) -> Json:
    return {"coding": [{"system": uris.ITEM, "code": code}], "text": text}


def renewed(stored: Json, computed: Json) -> Json | None:
    """The stored Observation with what is computed now; None when nothing is different."""
    kept = {k: v for k, v in stored.items() if k not in OWN and k != "extension"}
    others = [e for e in stored.get("extension", []) if e.get("url") != uris.X_UNROUNDED]
    new = kept | {k: computed[k] for k in OWN if k in computed} | {"extension": [*computed["extension"], *others]}
    return None if _same(new, stored) else new


def _same(one: Json, other: Json) -> bool:
    parts = {*OWN, "extension"}
    return {k: one.get(k) for k in parts} == {k: other.get(k) for k in parts}


@dataclass(frozen=True, slots=True)
class Mark:
    """What is said of a result that was sent: where it stands (-1, or the component), what it should be, in words."""

    part: int
    reference: str
    text: str


def marked(sent: Json, marks: Sequence[Mark]) -> Json | None:
    """What was sent with exactly these marks, each on the value that it speaks of; None when it is so already."""
    whole = _marked(sent, [m for m in marks if m.part < 0])
    if "component" in sent:
        parts = enumerate(sent["component"])
        whole["component"] = [_marked(c, [m for m in marks if m.part == i]) for i, c in parts]
    return None if whole == sent else whole


def _marked(element: Json, marks: Sequence[Mark]) -> Json:
    kept = [e for e in element.get("extension", []) if e.get("url") != uris.X_DIFFERS]
    new = [{"url": uris.X_DIFFERS, "valueReference": {"reference": m.reference, "display": m.text}} for m in marks]
    rest = {k: v for k, v in element.items() if k != "extension"}
    return rest | {"extension": [*kept, *new]} if kept or new else rest


def _coding(coding: Coding) -> Json:
    shown = {"display": coding.display} if coding.display else {}
    return {"system": coding.system, "code": coding.code, **shown}
