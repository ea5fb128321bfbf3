"""Whatever comes, changes or goes, in any order: the results that stand are those of the readings that stand."""

import random
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from service.exam.derived import Facts, derive
from service.exam.readings import Reading
from service.fhir import uris
from tests.builders.survey import Practice, coded, mappings, measurement

Json = dict[str, Any]
CHOICE = (
    *(("kidney_left", m, "mm", 20, 90) for m in ("length", "width", "height")),
    ("aorta", "luminal-diameter", "mm", 4, 12),
    ("portal_vein", "diameter", "mm", 3, 12),
    ("portal_vein", "mean-velocity", "cm/s", 5, 40),
    ("portal_vein", "cross-section-area", "cm2", 1, 3),
    *(("gallbladder", m, "mm", 5, 60) for m in ("length", "width", "height")),
    *(("urinary_bladder", m, "mm", 2, 90) for m in ("length", "width", "height")),
    ("urinary_bladder", "wall-thickness", "mm", 1, 5),
    ("jejunal_nodes", "thickness", "mm", 2, 9),
    ("jejunal_nodes", "length", "mm", 10, 40),
    ("kidney_left", "peak-systolic-velocity", "cm/s", 20, 60),
    ("kidney_left", "end-diastolic-velocity", "cm/s", 5, 19),
)
WEIGHT = ("", "weight", "kg", 5, 40)


class Model:
    """An exam, and what the test knows of it: reference -> (place, value) of all that stands, in order of arrival."""

    def __init__(self, practice: Practice, chance: random.Random) -> None:
        self.practice, self.chance = practice, chance
        self.standing: dict[str, tuple[tuple[str, str, str, int, int], Decimal]] = {}

    def value(self, low: int, high: int) -> Decimal:
        return Decimal(self.chance.randint(low * 10, high * 10)) / 10

    def come(self) -> None:
        """One to six new readings in one transaction."""
        kinds = [self.chance.choice((*CHOICE, *CHOICE, WEIGHT)) for _ in range(self.chance.randint(1, 6))]
        given = [(kind, self.value(*kind[3:])) for kind in kinds]
        sent = self.practice.send(*(_resource(kind, value) for kind, value in given))
        self.standing |= dict(zip(sent, given, strict=True))

    def change(self) -> None:
        """Another value for one of them."""
        if self.standing:
            reference = self.chance.choice(list(self.standing))
            kind, _ = self.standing[reference]
            value = self.value(*kind[3:])
            self.practice.change(reference, valueQuantity=_amount(value, kind[2]))
            self.standing[reference] = (kind, value)

    def go(self) -> None:
        """One of them entered in error."""
        if self.standing:
            reference = self.chance.choice(list(self.standing))
            self.practice.change(reference, status="entered-in-error")
            del self.standing[reference]

    def expected(self) -> dict[str, str]:
        """Name of each result -> its digits, computed at once from all that stands."""
        weights = [(r, v) for r, (kind, v) in self.standing.items() if kind == WEIGHT]
        facts = Facts("dog", "female", neutered=True, weight=Fraction(weights[-1][1]) if weights else None)
        readings = [
            Reading(kind[0], kind[1], Fraction(v), r) for r, (kind, v) in self.standing.items() if kind != WEIGHT
        ]
        rows = mappings()
        found = derive(
            readings,
            computations=rows.computations["dog"],
            averaged=rows.formulas["MEAN"],
            measures=rows.measures,
            facts=facts,
        )
        return {d.name: str(d.unrounded) for d in found}

    def kept(self) -> dict[str, str]:
        """The same, as it is stored: of the live entries of the steps, each with its Observation."""
        found: dict[str, str] = {}
        for task in self.practice.tasks().values():
            for output in task.get("output", []):
                act = _act(output)
                if act.startswith("derived:") and not output["type"]["coding"][0]["code"].startswith("retracted:"):
                    resource = self.practice.get(output["valueReference"]["reference"])
                    assert resource["status"] == "preliminary"
                    digits = next(e["valueDecimal"] for e in resource["extension"] if e["url"] == uris.X_UNROUNDED)
                    found[act] = str(digits)
        return found

    def withdrawn(self) -> list[str]:
        """The status of each Observation of a result that stands no more."""
        return [
            self.practice.get(o["valueReference"]["reference"])["status"]
            for task in self.practice.tasks().values()
            for o in task.get("output", [])
            if _act(o).startswith("derived:") and o["type"]["coding"][0]["code"].startswith("retracted:")
        ]


def _resource(kind: tuple[str, str, str, int, int], value: Decimal) -> Json:
    if kind == WEIGHT:
        weight: Json = measurement("kidney_left", "length", str(value))
        del weight["bodySite"]
        return weight | {"code": coded(uris.NOTE, "weight"), "valueQuantity": _amount(value, "kg")}
    return measurement(kind[0], kind[1], str(value), unit=kind[2])


def _amount(value: Decimal, unit: str) -> Json:
    return {"value": value, "unit": unit, "system": uris.UCUM, "code": unit}


def _act(output: Json) -> str:
    entered = next((e for e in output.get("extension", []) if e["url"] == uris.X_ENTERED), {})
    return next((str(p["valueString"]) for p in entered.get("extension", []) if p["url"] == "act"), "")


@pytest.mark.parametrize("seed", range(4))
def test_results_follow_their_readings_whatever_the_order(books: Any, organization: str, seed: int) -> None:
    practice = Practice(books, organization)
    practice.place()
    model = Model(practice, random.Random(seed))
    for _ in range(12):
        for act in model.chance.choices((model.come, model.change, model.go), weights=(5, 3, 2), k=2):
            act()
        assert model.kept() == model.expected()
    assert set(model.withdrawn()) <= {"entered-in-error"}
    assert model.expected(), "nothing was computed: the test shows nothing"
