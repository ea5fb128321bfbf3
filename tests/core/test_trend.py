"""What changed since an earlier exam, by how much, and whether that is more than measuring varies."""

from collections.abc import Sequence
from decimal import Decimal
from functools import cache

import pytest

from service.basics.coding import Coding
from service.catalogue.catalogue import Catalogue
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.exam.evidence import Evidence, Sighting
from service.exam.trend import Change, Earlier, trend
from service.exam.uncomputed import uncomputed
from service.fhir import uris

LEFT = Coding(uris.SCT, "7771000")  # DICOM PS3.16 CID 244


@cache
def rules() -> Catalogue:
    return load(read_folder())


def seen(structure: str, measure: str, value: str, unit: str = "mm", source: str = "", **more: object) -> Evidence:
    sighting = Sighting(
        source or f"Observation/{structure}-{measure}", "observation", quantity=Decimal(value), unit=unit, **more
    )  # type: ignore[arg-type]
    return Evidence(sighting, structure, (f"measure:{measure}",))


def compared(now: Sequence[Evidence], *before: Sequence[Evidence], species: str = "dog") -> tuple[Change, ...]:
    past = [Earlier(f"Task/{n}", "", f"2026-0{9 - n}-01T10:00:00Z", tuple(one)) for n, one in enumerate(before)]
    return trend(now, past, species=species, rules=rules())


def test_a_change_is_told_with_its_share() -> None:
    """6.4 to 7.1: +0.7 mm, +10.9% (the table's example)."""
    (one,) = compared(
        [seen("adrenal_left", "caudal-pole-thickness", "7.1")], [seen("adrenal_left", "caudal-pole-thickness", "6.4")]
    )
    assert (one.difference, one.per_cent) == (Decimal("0.7"), Decimal("10.9"))
    assert one.within is False, "10.9 per cent is more than the 10 that measuring varies"


@pytest.mark.parametrize(
    ("now", "within"), [("65.9", True), ("66.0", False), ("66.1", False), ("54.1", True), ("54.0", False)]
)
def test_a_change_as_large_as_the_repeatability_counts(now: str, within: bool) -> None:
    (one,) = compared([seen("kidney_left", "length", now)], [seen("kidney_left", "length", "60.0")])
    assert one.within is within


def test_a_structures_own_row_goes_before_the_general_one() -> None:
    """Günther 2014: under 20 per cent between observers in duodenum and jejunum, under 50 in the colon."""
    found = compared(
        [seen(s, "wall-thickness", "4.6") for s in ("duodenum", "colon", "urinary_bladder")],
        [seen(s, "wall-thickness", "4.0") for s in ("duodenum", "colon", "urinary_bladder")],
    )
    assert [(c.structure, c.within) for c in found] == [("duodenum", True), ("colon", True), ("urinary_bladder", False)]


def test_the_latest_earlier_exam_that_has_it_is_taken() -> None:
    now = [seen("kidney_left", "length", "60"), seen("spleen", "thickness", "20")]
    found = compared(
        now,
        [seen("kidney_left", "length", "58")],
        [seen("kidney_left", "length", "50"), seen("spleen", "thickness", "22")],
    )
    assert [(c.structure, c.before, c.earlier.exam) for c in found] == [
        ("kidney_left", Decimal(58), "Task/0"),
        ("spleen", Decimal(22), "Task/1"),
    ]


def test_units_meet_and_digits_are_those_of_the_finer_value() -> None:
    (one,) = compared([seen("kidney_left", "length", "61.25")], [seen("kidney_left", "length", "6", "cm")])
    assert (one.before, one.now, one.difference) == (Decimal("60.00"), Decimal("61.25"), Decimal("1.25"))


def test_values_in_one_unit_stay_in_it() -> None:
    (one,) = compared([seen("kidney_left", "length", "6.2", "cm")], [seen("kidney_left", "length", "5.85", "cm")])
    assert (one.before, one.now, one.unit, one.within) == (Decimal("5.85"), Decimal("6.20"), "cm", True)


def test_the_mean_stands_for_repeated_readings() -> None:
    singles = [seen("kidney_left", "resistive-index", v, "1", f"Observation/{v}") for v in ("0.60", "0.70")]
    mean = seen("kidney_left", "resistive-index", "0.65", "1", formula="MEAN", unrounded=Decimal("0.65"))
    (one,) = compared([*singles, mean], [seen("kidney_left", "resistive-index", "0.60", "1")])
    assert (one.now, one.within) == (Decimal("0.65"), False)


def test_nodes_that_cannot_be_told_apart_are_not_compared() -> None:
    two = [seen("jejunal_nodes", "thickness", v, source=f"Observation/{v}") for v in ("4", "6")]
    assert compared(two, two) == ()
    left = seen("jejunal_nodes", "thickness", "5", site=(LEFT,))
    (one,) = compared([left], [seen("jejunal_nodes", "thickness", "4", site=(LEFT,))])
    assert one.which == "left"


def test_a_lesion_is_compared_with_itself() -> None:
    now = [
        seen("spleen", "lesion-length", "22", source="Observation/a", which="2"),
        seen("spleen", "lesion-length", "9", source="Observation/b", which="3"),
    ]
    (one,) = compared(
        now, [seen("spleen", "lesion-length", "15", which="2"), seen("spleen", "lesion-length", "30", which="1")]
    )
    assert (one.which, one.before, one.now) == ("lesion 2", Decimal(15), Decimal(22))


def test_what_is_merely_expected_is_no_measurement() -> None:
    expected = seen("prostate", "expected-length", "21.3", formula="PRON")
    assert compared([expected], [expected]) == ()


def test_from_nothing_there_is_no_share() -> None:
    site = "pocket-depth-splenorenal"
    (one,) = compared([seen("peritoneum", site, "3")], [seen("peritoneum", site, "0")])
    assert (one.difference, one.per_cent, one.within) == (Decimal(3), None, None)


def test_what_lacks_a_weight_or_the_aorta_is_told() -> None:
    measured = [seen("kidney_left", "length", "60"), seen("urinary_bladder", "residual-volume", "6", "mL")]
    found = list(uncomputed(measured, species="dog", weighed=False, aged=True, rules=rules()))
    assert [(u.formula.key, u.structure, u.lacks) for u in found] == [
        ("KAO", "kidney_left", (("aorta", "luminal-diameter"),)),
        ("URV", "urinary_bladder", ("weight",)),
    ]
    portal = [seen("portal_vein", "diameter", "6"), seen("aorta", "luminal-diameter", "9")]
    assert not list(uncomputed(portal, species="dog", weighed=True, aged=True, rules=rules())), (
        "no survey asks for the cava there"
    )
