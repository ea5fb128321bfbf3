"""No flag, with the reason in words, where something is missing or outside: each condition of the rows."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from service.exam.animal import Animal
from service.exam.circumstances import Circumstances, circumstances, noted
from service.exam.evidence import Sighting
from service.exam.rules import StepRule
from service.exam.survey import Entry, Step
from tests.builders.limits import shipped, verdict, with_rows

WHOLE = StepRule("exam", 0, "", 0, "", "The exam as a whole", "optional")
# (structure, measure, value, unit, what is missing or outside, words of the reason)
MISSING: list[tuple[str, str, str, str, dict[str, Any], str]] = [
    ("gallbladder", "wall-thickness", "2", "mm", {"species": ""}, "species is not known"),
    ("gallbladder", "wall-thickness", "2", "mm", {"species": "rabbit"}, "species is not known"),
    ("gallbladder", "wall-thickness", "2", "mm", {"weight_kg": None}, "weight is not known"),
    ("gallbladder", "wall-thickness", "2", "mm", {"weight_kg": Decimal(40)}, "no limit for the weight of 40 kg"),
    ("gallbladder", "wall-thickness", "2", "mm", {"fasted": None}, "fasted is not recorded"),
    ("gallbladder", "wall-thickness", "2", "mm", {"fasted": False}, "limit is for animals that were fasted"),
    ("gallbladder", "wall-thickness", "2", "mL", {}, "in mL cannot be compared"),
    ("gallbladder", "wall-thickness", "2", "", {}, "without a unit cannot be compared"),
    ("adrenal_left", "dorsoventral-thickness", "9", "mm", {"plane": ""}, "no plane was said"),
    ("adrenal_left", "dorsoventral-thickness", "9", "mm", {"plane": "short"}, "this is short"),
    ("adrenal_left", "dorsoventral-thickness", "9", "mm", {"species": "cat", "ideal_weight_kg": None}, "ideal weight"),
    ("portal_vein", "aorta-ratio", "0.5", "1", {"age_months": None}, "age is not known"),
    ("portal_vein", "aorta-ratio", "0.5", "1", {"age_months": 6}, "under 7 months"),
    ("caudal_vena_cava", "aorta-ratio", "0.5", "1", {"age_months": 6}, "under 7 months"),
    ("kidney_left", "aorta-ratio", "3", "1", {"age_months": 6}, "under 7 months"),
    ("medial_iliac_nodes", "aorta-ratio", "3", "1", {"age_months": 6}, "under 7 months"),
    ("kidney_left", "resistive-index", "0.9", "1", {"sedated": None}, "sedated is not recorded"),
    ("kidney_left", "resistive-index", "0.9", "1", {"sedated": True}, "animals that were unsedated"),
    ("caudal_vena_cava", "aorta-ratio-iliac", "2", "1", {"species": "cat", "recumbency": ""}, "How the animal lay"),
    ("caudal_vena_cava", "aorta-ratio-iliac", "2", "1", {"species": "cat", "recumbency": "dorsal"}, "left lateral"),
    ("caudal_vena_cava", "aorta-ratio", "2", "1", {"species": "cat"}, "no limit for this measurement in the cat"),
    ("stomach_fundus_body", "wall-thickness", "9", "mm", {}, "no place was said"),
    ("stomach_fundus_body", "wall-thickness", "9", "mm", {"site": "rugal-fold"}, "taken at rugal-fold"),
    ("aorta", "luminal-diameter", "9", "mm", {}, "published values are shown only"),
    ("prostate", "length", "60", "mm", {}, "published values are shown only"),
    ("peritoneum", "fluid-score", "3", "{score}", {}, "published values are shown only"),
    ("spleen", "thickness", "40", "mm", {}, "published values are shown only"),
    ("pregnancy", "fetal-heart-rate", "120", "/min", {}, "published values are shown only"),
    ("liver_left", "lesion-length", "40", "mm", {}, "no limit for this measurement in the dog"),
]  # fmt: skip


@pytest.mark.parametrize(("structure", "measure", "value", "unit", "known", "words"), MISSING)
def test_what_is_missing_or_outside_gives_no_flag_but_a_reason(
    structure: str, measure: str, value: str, unit: str, known: dict[str, Any], words: str
) -> None:
    found = verdict(structure, measure, value, unit, **known)
    assert (found.flag, found.limit) == ("", None)
    assert words in found.reason


def test_all_that_is_missing_is_told_at_once() -> None:
    found = verdict("caudal_vena_cava", "aorta-ratio-iliac", "2", "1", species="cat", age_months=None, sedated=None)
    assert "age is not known" in found.reason
    assert "sedated is not recorded" in found.reason


def test_the_seven_months_hold_for_every_ratio_to_a_vessel() -> None:
    # Vincken 2024: the ratios change up to 7 months of age
    ratios = [
        r for r in shipped().limit_rows.values() if r.flags and ("aorta-ratio" in r.measure or "cava" in r.measure)
    ]
    assert len(ratios) >= 8
    assert {r.age_min_months for r in ratios} == {7}
    assert verdict("portal_vein", "aorta-ratio", "0.5", "1", age_months=7).flag == "L"


@pytest.mark.parametrize(("fill", "flag"), [("", ""), ("moderate", "H")])
def test_a_bladder_wall_is_judged_only_with_its_fill_state(fill: str, flag: str) -> None:
    rules = with_rows(("UBW-X-1", "in_default_set", "dog"))
    found = verdict("urinary_bladder", "wall-thickness", "6", rules=rules, fill=fill)
    assert found.flag == flag
    assert ("fill state" in found.reason) is not bool(flag)


def test_a_small_renal_pelvis_is_never_called_normal() -> None:  # Lemieux 2021: obstructed cats from 1.1 mm
    found = verdict("kidney_left", "pelvis-width", "1.1", species="cat")
    assert found.flag == ""
    assert found.limit is not None
    assert "does not say what is normal" in found.reason


def test_a_gallbladder_wall_of_about_1_mm_is_not_flagged() -> None:  # common practice, no source
    assert verdict("gallbladder", "wall-thickness", "1.0").flag == "N"


def test_rows_from_memory_flag_nothing() -> None:
    rows = shipped().limit_rows.values()
    assert not [r.id for r in rows if r.flags and r.source.evidence in {"MEM", "NOT-FOUND"}]
    shown = {"descriptive", "display-only", "context", "caution", "do-not-use"}
    assert not [r.id for r in rows if r.flags and r.use in shown]


def entry(item: str, value: str, at: str = "2026-11-20T10:00:00Z") -> Entry:
    return Entry(item, "Observation/a", at, "", value)


def known(*entries: Entry, born: date | None = None, at: str = "2026-11-20T09:00:00Z") -> Circumstances:
    animal = Animal("a", "dog", "male", True, born=born)
    return circumstances(animal, (), Step("t", WHOLE, tuple(entries)), at=at)


@pytest.mark.parametrize(
    ("value", "fasted"),
    [("F", True), ("NF", False), ("NG", None), ("fasted", True), ("not-fasted", False), ("not fasted", False),
     ("12 h", True), ("8 h", True), ("7.5 h", False), ("fasted for 10 hours", True), ("fasted for 3 hours", False),
     ("yes", True), ("no", False), ("fed at noon, perhaps", None), ("", None)],
)  # fmt: skip
def test_the_fasting_note_is_understood_or_left_open(value: str, *, fasted: bool | None) -> None:
    assert known(entry("note:fasting", value)).fasted is fasted


@pytest.mark.parametrize(
    ("value", "sedated"),
    [("none", False), ("no", False), ("not-sedated", False), ("", True), ("light, invented", True)],
)
def test_a_sedation_note_says_that_it_was_given_unless_it_says_none(value: str, *, sedated: bool) -> None:
    assert known(entry("note:sedation", value)).sedated is sedated
    assert known().sedated is None


@pytest.mark.parametrize(("value", "kg"), [("12.40 kg", "12.40"), ("900 g", "0.9"), ("12", None), ("0 kg", None)])
def test_the_weight_has_a_unit(value: str, kg: str | None) -> None:
    assert known(entry("note:weight", value)).weight_kg == (Decimal(kg) if kg else None)


def test_the_latest_of_several_weights_counts_and_its_age_is_known() -> None:
    late, early = (
        entry("note:weight", "9 kg", "2026-11-01T10:00:00Z"),
        entry("note:weight", "8 kg", "2026-10-01T10:00:00Z"),
    )
    found = known(late, early)
    assert (found.weight_kg, found.weight_days) == (Decimal(9), 19)


@pytest.mark.parametrize(
    ("born", "months"),
    [(date(2026, 4, 20), 7), (date(2026, 4, 21), 6), (date(2016, 11, 20), 120), (date(2027, 1, 1), None), (None, None)],
)
def test_age_is_in_completed_months_on_the_day_of_the_exam(born: date | None, months: int | None) -> None:
    assert known(born=born).age_months == months


@pytest.mark.parametrize(
    "value", ["left-lateral", "Left lateral", "left lateral recumbency", "left-lateral-recumbency"]
)
def test_how_the_animal_lay_is_understood(value: str) -> None:
    assert known(entry("note:recumbency", value)).recumbency == "left-lateral"


def test_what_a_note_says_is_kept_with_its_unit_its_code_or_its_words() -> None:
    assert noted(Sighting("Observation/a", "observation", quantity=Decimal("12.40"), unit="kg")) == "12.40 kg"
    assert noted(Sighting("Observation/a", "observation", answer=False)) == "no"
    assert noted(Sighting("Observation/a", "observation", text="nothing given")) == "nothing given"
