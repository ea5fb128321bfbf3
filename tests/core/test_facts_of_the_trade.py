"""What everybody in the trade knows, and no paper was at hand for; each marked "common practice, no source"."""

import pytest

from service.fhir import uris
from tests.builders.survey import Json, Practice, coded, entered, finding, mappings, measurement
from tests.core.test_urgent_suggestions import urgent


@pytest.fixture
def practice(books: object, organization: str) -> Practice:
    made = Practice(books, organization)
    made.place()
    return made


def prompts(practice: Practice, step: str) -> str:
    """What the step's Task asks to think of."""
    return " ".join(note["text"] for note in practice.task(step).get("note", []))


def weighed() -> list[Json]:
    """A fasted dog of 12 kg."""
    kilograms = {"value": 12, "system": uris.UCUM, "code": "kg", "unit": "kg"}
    about = {"resourceType": "Observation", "status": "final", "effectiveDateTime": "2026-11-25T10:00:00Z"}
    return [
        {**about, "code": coded(uris.NOTE, "weight"), "valueQuantity": kilograms},
        {**about, "code": coded(uris.NOTE, "fasting"), "valueString": "fasted"},
    ]


@pytest.mark.parametrize("wall", ["0.8", "1.0", "1.2"])
def test_a_normal_dogs_gallbladder_wall_is_thin_about_1_mm_and_not_flagged(practice: Practice, wall: str) -> None:
    # common practice, no source
    *_, source = practice.send(*weighed(), measurement("gallbladder", "wall-thickness", wall))
    flags = [i["coding"][0]["code"] for i in practice.get(source).get("interpretation", [])]
    assert flags == ["N"]
    assert urgent(practice) == {}


def test_a_small_layer_of_sludge_in_a_dog_is_not_urgent(practice: Practice) -> None:
    # common practice, no source
    words = ("content.sludge-mild", "layering.layered", "mobility.mobile")
    practice.send(*(finding("gallbladder", f"gallbladder.{word}") for word in words))
    assert urgent(practice) == {}
    assert "common, mild finding in dogs" in prompts(practice, "gallbladder")
    grades = {v.code.rpartition(".")[2]: v.grade for a in mappings().vocabularies["gallbladder"] for v in a.values}
    assert [grades[word] for word in ("sludge-mild", "layered", "mobile")] == [1, 1, 1]


def test_the_bile_duct_is_measured_inside_its_lumen(practice: Practice) -> None:
    # common practice, no source
    practice.send(finding("common_bile_duct", "common_bile_duct.visibility.visible-normal"))
    assert "inside its lumen" in prompts(practice, "common_bile_duct")


def test_a_wide_tube_beside_the_portal_vein_asks_for_the_papilla(practice: Practice) -> None:
    # common practice, no source
    practice.send(finding("common_bile_duct", "common_bile_duct.visibility.dilated"))
    assert "major duodenal papilla" in prompts(practice, "common_bile_duct")


@pytest.mark.parametrize("diameter", ["3.0", "8.0", "14.0"])
def test_the_great_vessels_are_named_by_site_never_by_diameter(practice: Practice, diameter: str) -> None:
    # common practice, no source
    nameless = measurement("", "luminal-diameter", diameter)
    nameless["bodySite"] = {"text": "a vessel dorsal to the bladder"}
    (source,) = practice.send(nameless)
    for step in ("aorta", "caudal_vena_cava", "portal_vein"):
        assert source not in str(entered(practice.task(step)))
        assert source not in str(practice.task(step).get("output", []))
    named = measurement("aorta", "luminal-diameter", diameter)
    (known,) = practice.send(named)
    assert known in str(practice.task("aorta").get("output", []))


def test_no_vessel_is_judged_by_its_diameter_alone() -> None:
    # common practice, no source: a width depends on the animal's size, its blood and its breath
    rows = mappings().limit_rows.values()
    vessels = {"aorta", "caudal_vena_cava", "portal_vein"}
    assert not [r.id for r in rows if r.flags and vessels & set(r.structures) and r.unit == "mm"]
    assert [r.id for r in rows if vessels & set(r.structures) and r.unit == "mm"], "published widths are shown"
