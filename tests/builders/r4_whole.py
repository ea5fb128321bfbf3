"""HL7's definitions -> a resource of a type with every element that R4 gives it, valid but of no meaning."""

from decimal import Decimal
from typing import Any

from service.fhir.definitions import Definitions, Element
from tests.builders.r4_cases import XHTML

Json = dict[str, Any]
UCUM = {"system": "http://unitsofmeasure.org", "code": "d"}
DEEPEST = 4  # below, only what is needed: types hold each other without end

SAMPLES: Json = {
    "boolean": True,
    "integer": 1,
    "positiveInt": 1,
    "unsignedInt": 1,
    "decimal": Decimal("1.50"),
    "date": "2026-11-25",
    "dateTime": "2026-11-25T10:00:00+01:00",
    "instant": "2026-11-25T10:00:00.000Z",
    "time": "10:00:00",
    "base64Binary": "QUJD",
    "id": "x",
    "oid": "urn:oid:1.2.3",
    "uuid": "urn:uuid:019ab000-0000-7000-8000-000000000001",
    "xhtml": f"<div {XHTML}>x</div>",
    "Quantity": {"value": Decimal("1.50"), "unit": "day", **UCUM},
    "Age": {"value": 1, **UCUM},
    "Duration": {"value": 1, **UCUM},
    "Distance": {"value": 1, **UCUM},
    "Count": {"value": 1, **UCUM, "code": "1"},
    "Range": {"low": {"value": 1}, "high": {"value": 2}},
    "Ratio": {"numerator": {"value": 1}, "denominator": {"value": 2}},
    "Timing": {"repeat": {"frequency": 1, "period": 1, "periodUnit": "d"}},
    "Money": {"value": Decimal("1.00"), "currency": "EUR"},
    "CodeableConcept": {"text": "x"},
    "Coding": {"system": "https://x.example/codes", "code": "x"},
    "Extension": {"url": "https://x.example/e", "valueString": "x"},
    "Attachment": {"contentType": "image/png", "data": "QUJD"},
    "Expression": {"language": "text/fhirpath", "expression": "x"},
    "TriggerDefinition": {"type": "named-event", "name": "x"},
    "Resource": {"resourceType": "Basic", "id": "x", "code": {"text": "x"}},
}

# Elements that exclude another one that is there, by R4's invariants
EXCLUDED = frozenset(
    {
        "Observation.dataAbsentReason",  # obs-6
        "Composition.section.emptyReason",  # cmp-2
        "Condition.abatement[x]",  # con-4
        "AuditEvent.entity.query",  # sev-1
        "Appointment.cancelationReason",  # app-4
        "Condition.clinicalStatus",  # con-5, with the last status of verification
    }
)


class Whole:
    """Makes them. turn decides which type each value[x] has."""

    def __init__(self, definitions: Definitions, turn: int) -> None:
        self.definitions, self.turn = definitions, turn

    def resource(self, type_: str) -> Json:
        """The resource, whose contained one is referred to."""
        whole = {"resourceType": type_} | self._object(type_, 0)
        if "contained" in whole:
            whole["extension"] = [{"url": "https://x.example/e", "valueReference": {"reference": "#x"}}]
        return whole

    def _object(self, type_: str, depth: int) -> Json:
        made: Json = {}
        for element in self.definitions.children.get(type_, []):
            if element["max"] == "0" or element["path"] in EXCLUDED or (depth > DEEPEST and not element["min"]):
                continue
            base = element["path"].rpartition(".")[2]
            types = self.definitions.types_of(element)
            kind = types[self.turn % len(types)]
            if base in ("extension", "id") and depth:
                continue
            value = self._value(element, kind, depth)
            if value == {}:
                continue
            name = base[:-3] + kind[0].upper() + kind[1:] if base.endswith("[x]") else base
            made[name] = value if element["max"] == "1" else [value]
        return made

    def _value(self, element: Element, kind: str, depth: int) -> Any:
        if kind == "Reference":
            return {"reference": f"{self._target(element)}/1"}
        binding = element.get("binding", {})
        sets = self.definitions.codes.get(binding.get("valueSet", ""))
        if binding.get("strength") == "required" and sets:
            system, codes = sets[-1]
            return {"coding": [{"system": system, "code": codes[-1]}]} if kind == "CodeableConcept" else codes[-1]
        if "mimetypes" in binding.get("valueSet", ""):
            return "text/plain"
        if kind in SAMPLES:
            return SAMPLES[kind]
        return self._object(kind, depth + 1) if kind[0].isupper() else "x"

    def _target(self, element: Element) -> str:
        targets = [p.rpartition("/")[2] for t in element["type"] for p in t.get("targetProfile", ())]
        target = targets[self.turn % len(targets)] if targets else "Basic"
        return "Basic" if target in ("Resource", "DomainResource") else target
