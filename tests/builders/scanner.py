"""A scanner that sends what a step's Task says is owed, in the service's own codes."""

from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Any

from service.exam.protocol import rule_of
from service.exam.rules import Attribute, StepRule
from service.fhir import uris
from tests.builders.survey import coded, finding, image, mappings, measurement, owed

Json = dict[str, Any]
AT = "2026-11-25T10:00:00Z"  # a Wednesday, within the opening hours of the demo practice
LESION = ("kind.nodule", "edge.sharp", "echogenicity.hypoechoic", "vascularity.none", "artefact.none")


class Scanner:
    """Speaks of one animal and one order; every resource is based on them. species: dog or cat."""

    def __init__(self, order: str, animal: str, *, species: str = "dog", at: str = AT) -> None:
        self.order, self.animal, self.species, self.at = order, animal, species, at

    def about(self, resource: Json) -> Json:
        """The resource as evidence of the order."""
        subject = {"reference": f"Patient/{self.animal}"}
        return {**resource, "basedOn": [{"reference": f"ServiceRequest/{self.order}"}], "subject": subject}

    def everything(self, tasks: Iterable[Json]) -> list[Json]:
        """All that the Tasks of these steps owe."""
        steps = (t for t in tasks if t["code"]["coding"][0]["system"] == uris.STEP)
        return [resource for task in steps for resource in self.owed_by(task)]

    def owed_by(self, task: Json) -> list[Json]:
        """What proves all that one Task owes: images in its planes, a clip, measurements, findings as expected."""
        rule = rule_of(mappings().protocols[self.species], task["code"]["coding"][0]["code"])
        assert rule is not None
        return [self.about(one) for one in self._answers(rule, owed(task))]

    def measured(self, structure: str, key: str, value: str, **more: Any) -> Json:
        """A measurement in millimetres."""
        return self.about(measurement(structure, key, value, at=self.at, **more))

    def found(self, structure: str, attribute: str, value: str) -> Json:
        """A finding by attribute and value of the structure's own vocabulary."""
        word = f"{mappings().structures[structure].vocabulary}.{attribute}.{value}"
        return self.about(finding(structure, word, at=self.at))

    def lesion(self, structure: str, *, place: str = "near the caudal margin") -> Json:
        """The whole record of one focal lesion."""
        sizes = (("lesion-length", "12.0"), ("lesion-width", "10.5"), ("lesion-height", "9.0"))
        parts: list[Json] = [{"code": coded(uris.ATTRIBUTE, "place"), "valueString": place}]
        for key, value in sizes:
            quantity = {"value": Decimal(value), "unit": "mm", "system": uris.UCUM, "code": "mm"}
            parts.append({"code": coded(uris.MEASURE, key), "valueQuantity": quantity})
        for word in LESION:
            value = coded(uris.FINDING, f"focal_lesion.{word}")
            parts.append({"code": coded(uris.ATTRIBUTE, word.partition(".")[0]), "valueCodeableConcept": value})
        return self.about(
            {
                "resourceType": "Observation",
                "status": "final",
                "code": coded(uris.ATTRIBUTE, "focal-lesion"),
                "bodySite": coded(uris.STRUCTURE, structure),
                "effectiveDateTime": self.at,
                "component": parts,
            }
        )

    def shown(self, structure: str, plane: str, **more: Any) -> Json:
        """A still image, or a clip."""
        return self.about(image(structure, plane, at=self.at, **more))

    def _answers(self, rule: StepRule, items: list[str]) -> Iterator[Json]:
        planes = [item.partition(":")[2] for item in items if item.startswith("plane:")]
        shots = max(rule.stills if "still" in items else 0, len(planes))
        for index in range(shots):
            yield image(rule.structure, (planes or list(rule.planes))[index % len(planes or rule.planes)], at=self.at)
        if "clip" in items:
            yield image(rule.structure, "", clip=True, at=self.at)
        for item in items:
            kind, _, key = item.partition(":")
            if kind == "measure":
                yield self._measure(rule.structure, key)
            elif kind == "finding":
                yield finding(rule.structure, self._word(rule.structure, key), at=self.at)

    def _measure(self, structure: str, key: str) -> Json:
        rule = mappings().measures[self.species, structure, key]
        middle = ((rule.low + rule.high) / 2).quantize(Decimal("0.1")) if key != "fluid-score" else Decimal(0)
        return measurement(structure, key, str(middle), unit=rule.unit, at=self.at)

    def _word(self, structure: str, key: str) -> str:
        vocabulary = mappings().structures[structure].vocabulary
        attribute = next(a for a in mappings().vocabularies[vocabulary] if a.key == key)
        return f"{vocabulary}.{key}.{_expected(attribute)}"


def _expected(attribute: Attribute) -> str:
    """The value that a person would state of an animal in good health."""
    value = next((v for v in attribute.values if v.default), attribute.values[0])
    return value.code.rpartition(".")[2]
