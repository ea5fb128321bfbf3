"""What was sent finds its structure and its item, or is said not to; measurements are judged by their unit."""

from decimal import Decimal
from typing import Any

import pytest

from service.basics.coding import Coding
from service.exam.body_site import place
from service.exam.evidence import Evidence, Sighting, Unmapped
from service.exam.matching import match
from service.exam.measure import implausible
from service.exam.moments import compare, earliest
from service.fhir import uris
from service.fhir.reading.evidence import sightings
from tests.builders.survey import coded, finding, image, mappings, measurement

LEFT, RIGHT, BOTH = (Coding(uris.SCT, c) for c in ("7771000", "24028007", "51440002"))
KIDNEY, LIVER, SPLEEN = (Coding(uris.SCT, c) for c in ("64033007", "10200004", "78961009"))


def found(resource: dict[str, Any], species: str = "dog") -> list[Evidence | Unmapped]:
    return [m for s in sightings({"id": "1", **resource}) for m in match(s, mappings(), species)]


def own(code: str) -> Coding:
    return Coding(uris.STRUCTURE, code)


@pytest.mark.parametrize(
    ("codings", "structure"),
    [
        ([own("kidney_left")], "kidney_left"),
        ([KIDNEY, own("kidney_left")], "kidney_left"),
        ([KIDNEY, LEFT], "kidney_left"),
        ([RIGHT, KIDNEY], "kidney_right"),
        ([SPLEEN], "spleen"),
        ([SPLEEN, LEFT], "spleen"),
        ([SPLEEN, Coding("urn:oid:1.2.3", "their-own")], "spleen"),
    ],
)
def test_a_site_names_one_structure(codings: list[Coding], structure: str) -> None:
    assert place(codings, mappings()).structure == structure


@pytest.mark.parametrize(
    ("codings", "problem"),
    [
        ([KIDNEY], "site-ambiguous"),
        ([KIDNEY, BOTH], "site-ambiguous"),
        ([KIDNEY, LEFT, RIGHT], "site-ambiguous"),
        ([LIVER], "site-ambiguous"),
        ([own("kidney_left"), RIGHT], "site-ambiguous"),
        ([own("kidney_left"), own("spleen")], "site-ambiguous"),
        ([Coding("urn:oid:1.2.3", "their-own")], "site"),
        ([LEFT], "site"),
        ([], "site"),
    ],
)
def test_a_site_that_names_none_or_several_settles_nothing(codings: list[Coding], problem: str) -> None:
    where = place(codings, mappings())
    assert (where.structure, where.problem) == ("", problem)


def test_an_ambiguous_site_says_which_structures_it_may_mean() -> None:
    assert {"liver_left", "liver_central", "liver_right"} <= set(place([LIVER], mappings()).candidates)
    assert {"kidney_left", "kidney_right"} <= set(place([KIDNEY], mappings()).candidates)


def test_a_measurement_in_an_outside_code() -> None:
    sent = {**measurement("kidney_left", "length", "61.2"), "code": coded(uris.SCT, "410668003")}
    sent["bodySite"] = {"coding": [{"system": uris.SCT, "code": "64033007"}, {"system": uris.SCT, "code": "7771000"}]}
    (one,) = found(sent)
    assert isinstance(one, Evidence)
    assert (one.structure, one.items) == ("kidney_left", ("measure:length",))


def test_a_general_code_means_the_measurement_that_the_structure_has() -> None:
    """SCT 81827009 Diameter leads to more than one measure; only one of them is measured in the aorta."""
    sent = {**measurement("aorta", "x", "8.1"), "code": coded(uris.SCT, "81827009")}
    (one,) = found(sent)
    assert isinstance(one, Evidence)
    assert one.items == ("measure:luminal-diameter",)


def test_components_are_measurements_of_their_own() -> None:
    sizes = [
        {"code": coded(uris.MEASURE, key), "valueQuantity": {"value": Decimal(v), "system": uris.UCUM, "code": "mm"}}
        for key, v in (("length", "61.2"), ("width", "30.0"), ("height", "28"))
    ]
    group = {**measurement("kidney_left", "x", "1"), "component": sizes}
    del group["valueQuantity"]
    items = [i for e in found(group) if isinstance(e, Evidence) for i in e.items]
    assert items == ["measure:length", "measure:width", "measure:height"]


def test_a_group_that_only_refers_to_its_members_says_nothing_itself() -> None:
    group = {"resourceType": "Observation", "code": coded(uris.DCM, "125007"), "hasMember": [{"reference": "x/1"}]}
    assert found(group) == []


def test_a_finding_must_be_a_word_of_its_structure() -> None:
    (one,) = found(finding("spleen", "spleen.size.large-mild"))
    assert isinstance(one, Evidence)
    assert (one.items, one.value) == (("finding:size",), "large-mild")
    (other,) = found(finding("spleen", "liver.size.large-mild"))
    assert isinstance(other, Unmapped)
    assert (other.what, other.structures, other.item) == ("value", ("spleen",), "finding:size")


def test_a_measurement_without_a_value_proves_nothing() -> None:
    sent = measurement("kidney_left", "length", "1")
    del sent["valueQuantity"]
    assert [m.what for m in found(sent) if isinstance(m, Unmapped)] == ["value"]
    absent = {**sent, "dataAbsentReason": coded(uris.DATA_ABSENT, "not-performed")}
    assert [m.what for m in found(absent) if isinstance(m, Unmapped)] == ["value"]
    reason = {**sent, "dataAbsentReason": coded(uris.REASON, "gas")}
    assert [m.items for m in found(reason) if isinstance(m, Evidence)] == [("excused:measure:length",)]


def test_images_prove_their_plane_and_studies_only_that_there_are_images() -> None:
    assert [e.items for e in found(image("spleen", "long")) if isinstance(e, Evidence)] == [("still", "plane:long")]
    assert [e.items for e in found(image("spleen", "short", clip=True)) if isinstance(e, Evidence)] == [
        ("clip", "plane:short")
    ]
    oblique = found({**image("spleen", "long"), "view": coded("urn:oid:1.2.3", "oblique")})
    assert [getattr(m, "what", "") for m in oblique] == ["", "plane"]
    series = [{"bodySite": {"system": uris.STRUCTURE, "code": "spleen"}, "numberOfInstances": 4}, {"uid": "1"}]
    study = {"resourceType": "ImagingStudy", "status": "available", "started": "2026-11-25T10:00:00Z"}
    (one,) = found({**study, "series": series})
    assert isinstance(one, Evidence)
    assert (one.items, one.value, one.sighting.at) == (("still",), "4", "2026-11-25T10:00:00Z")
    assert found({**study, "series": [{"uid": "1"}]}) == []


def test_an_answer_that_says_two_things_is_no_answer() -> None:
    sex = {"resourceType": "Observation", "code": coded(uris.NOTE, "sex")}
    both = [{"system": uris.GENDER, "code": "male"}, {"system": uris.GENDER, "code": "female"}]
    (one,) = found({**sex, "valueCodeableConcept": {"coding": both}})
    assert isinstance(one, Unmapped)
    said = found({**sex, "valueCodeableConcept": {"coding": [both[0], {"system": uris.NEUTER, "code": "intact"}]}})
    assert [(e.items[0], e.value) for e in said if isinstance(e, Evidence)] == [
        ("note:sex", ""),
        ("statement:sex", "male"),
        ("statement:neutered", "intact"),
    ]


@pytest.mark.parametrize(
    ("value", "unit", "fits"),
    [
        ("3.1", "mm", True),
        ("0.31", "cm", True),
        ("40", "mm", True),
        ("40.0001", "mm", False),
        ("12", "cm", False),
        ("-1", "mm", False),
        ("3.1", "kg", False),
        ("3.1", "", False),
    ],
)
def test_a_gut_wall_is_plausible_up_to_forty_millimetres(value: str, unit: str, fits: bool) -> None:
    rule = mappings().measures["dog", "duodenum", "wall-thickness"]
    assert (rule.low, rule.high, rule.unit) == (Decimal("0.2"), Decimal("40"), "mm")
    fault = implausible(Decimal(value), unit, rule=rule, units=mappings().units)
    assert (fault is None) is fits
    confirmed = implausible(Decimal(value), unit, rule=rule, units=mappings().units, confirmed=True)
    assert (confirmed is None) is (unit in {"mm", "cm"}), "a unit that cannot be compared is never confirmed"


def test_times_of_different_zones_are_compared_as_instants() -> None:
    assert compare("2026-11-25T10:00:00Z", "2026-11-25T10:30:00+01:00") == 1
    assert compare("2026-11-25T10:00:00.000Z", "2026-11-25T11:00:00+01:00") == 0
    assert compare("2026-11-25", "2026-11-25T11:00:00+01:00") is None
    assert earliest(["2026-11-25", "2026-11-25T10:00:00Z", "2026-11-25T10:30:00+01:00"]) == "2026-11-25T10:30:00+01:00"
    assert earliest(["2026-11-25", ""]) == ""


def test_a_retracted_sighting_is_read_as_such() -> None:
    (one,) = sightings({**finding("spleen", "spleen.size.normal"), "id": "7", "status": "entered-in-error"})
    assert isinstance(one, Sighting)
    assert (one.source, one.retracted) == ("Observation/7", True)
