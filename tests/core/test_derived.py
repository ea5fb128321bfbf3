"""What is computed, against the worked examples and the published figures that its rows name."""

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.catalogue.catalogue import Catalogue
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.exam.agreement import disagreements
from service.exam.circumstances import Circumstances
from service.exam.derived import Derived, Facts, derive
from service.exam.expression import pocket, read
from service.exam.formulas import decimal, rounded
from service.exam.limits import Limit
from service.exam.readings import Reading
from service.exam.verdict import judge

DOG, CAT = Facts("dog", weight=Fraction(20), weighed="Observation/w"), Facts("cat", weight=Fraction("4.2"))


@cache
def rules() -> Catalogue:
    return load(read_folder())


def read_(structure: str, measure: str, value: str, source: str = "", **more: str) -> Reading:
    return Reading(structure, measure, Fraction(value), source or f"Observation/{structure}-{measure}", **more)


def results(readings: Iterable[Reading], facts: Facts = DOG) -> dict[str, Derived]:
    found = derive(
        readings,
        computations=rules().computations[facts.species],
        averaged=rules().formulas["MEAN"],
        measures=rules().measures,
        facts=facts,
    )
    return {d.name.removeprefix("derived:"): d for d in found}


# (structure, measure, value) in the measure's own unit -> formula, exact digits, as shown; sources in formulas.csv
EXAMPLES = [
    ("KAO", "7.29", "7.3", "dog", [("kidney_left", "length", "62"), ("aorta", "luminal-diameter", "8.5")]),
    ("PVAO", "0.59", "0.59", "dog", [("portal_vein", "diameter", "3.2"), ("aorta", "luminal-diameter", "5.4")]),
    (
        "CVCAO",
        "1.09",
        "1.09",
        "cat",
        [("caudal_vena_cava", "luminal-diameter", "8.1"), ("aorta", "luminal-diameter", "7.4")],
    ),
    (
        "CVCCI",
        "30.0",
        "30",
        "dog",
        [("hepatic_veins", "vena-cava-max-height", "9.0"), ("hepatic_veins", "vena-cava-min-height", "6.3")],
    ),
    (
        "GBV",
        "2.47",
        "2.5",
        "cat",
        [("gallbladder", k, v) for k, v in (("length", "25"), ("width", "20"), ("height", "9.5"))],
    ),
    ("GBVKG", "0.59", "0.59", "cat", [("gallbladder", "volume", "2.47")]),
    ("GBEF", "64.4", "64", "cat", [("gallbladder", "volume", "2.47"), ("gallbladder", "volume-after-meal", "0.88")]),
    ("SLUDGE", "30.9", "31", "dog", [("gallbladder", "sludge-area", "210"), ("gallbladder", "lumen-area", "680")]),
    (
        "CI",
        "0.0241",
        "0.024",
        "dog",
        [("portal_vein", "cross-section-area", "0.41"), ("portal_vein", "mean-velocity", "17.03")],
    ),
    (
        "RI",
        "0.66",
        "0.66",
        "dog",
        [("kidney_left", "peak-systolic-velocity", "32"), ("kidney_left", "end-diastolic-velocity", "11")],
    ),
    (
        "PI",
        "1.17",
        "1.17",
        "cat",
        [
            ("kidney_left", f"{k}-velocity", v)
            for k, v in (("peak-systolic", "32"), ("end-diastolic", "11"), ("mean", "18"))
        ],
    ),
    (
        "UBV1",
        "62.8",
        "63",
        "dog",
        [("urinary_bladder", k, v) for k, v in (("length", "61"), ("width", "42"), ("height", "39"))],
    ),
    (
        "UBV2",
        "52.0",
        "52",
        "dog",
        [("urinary_bladder", k, v) for k, v in (("length", "61"), ("width", "42"), ("height", "39"))],
    ),
    ("URV", "0.43", "0.43", "dog", [("urinary_bladder", "residual-volume", str(Fraction(6, 14) * 20))]),
    (
        "KVOL",
        "16.9",
        "16.9",
        "dog",
        [("kidney_right", k, v) for k, v in (("length", "47.3"), ("width", "28.1"), ("height", "24.3"))],
    ),
    (
        "MILAO",
        "0.71",
        "0.71",
        "dog",
        [("medial_iliac_nodes", "thickness", "6.4"), ("aorta", "luminal-diameter", "9.0")],
    ),
    ("SL", "0.30", "0.30", "cat", [("jejunal_nodes", "thickness", "6.4"), ("jejunal_nodes", "length", "21")]),
    (
        "STUMPAO",
        "0.48",
        "0.48",
        "dog",
        [("uterine_stump", "height", "4.3"), ("aorta", "luminal-diameter-iliac", "8.9")],
    ),
    (
        "PDRATIO",
        "0.29",
        "0.29",
        "cat",
        [("pancreas_left", "duct-diameter", "2.3"), ("pancreas_left", "thickness", "7.9")],
    ),
    ("WALLR", "2.1", "2.1", "dog", []),
]


@pytest.mark.parametrize(("formula", "exact", "shown", "species", "given_"), EXAMPLES)
def test_every_worked_example_comes_out(
    formula: str, exact: str, shown: str, species: str, given_: list[tuple[str, str, str]]
) -> None:
    readings = [read_(*one) for one in given_]
    if formula == "WALLR":
        readings = [read_("urinary_bladder", "wall-thickness", v, f"Observation/{v}") for v in ("3.4", "1.6", "2.0")]
    found = [
        d for d in results(readings, DOG if species == "dog" else CAT).values() if d.computation.formula.key == formula
    ]
    assert len(found) == 1
    digits = -int(Decimal(exact).as_tuple().exponent)
    assert rounded(found[0].unrounded, digits) == Decimal(exact)
    assert str(found[0].shown) == shown


def test_portal_flow_is_that_of_sung_1997() -> None:
    """Sung 1997 (Korean J Vet Res 37:661): 17.03 cm/s through 0.41 cm2 at 41.59 mL/min/kg, a dog of about 10 kg."""
    facts = Facts("dog", weight=Fraction("10.07"))
    readings = [read_("portal_vein", "mean-velocity", "17.03"), read_("portal_vein", "cross-section-area", "0.41")]
    flow = results(readings, facts)["PVF:portal_vein:blood-flow:"]
    assert abs(flow.unrounded - Decimal("41.59")) < Decimal("0.02")
    away = [read_("portal_vein", "mean-velocity", "-17.03"), readings[1]]
    assert results(away, facts)["PVF:portal_vein:blood-flow:"].value == flow.value, "the sign is the side of the probe"
    assert "PVF:portal_vein:blood-flow:" not in results(readings, Facts("dog")), "no weight, no flow per weight"


def test_the_prostate_is_told_what_to_expect_once_it_was_measured() -> None:
    """Ruel 1998 (coefficients from memory, evidence M) and Delaude 2021: of 20 kg, six years."""
    intact = Facts("dog", "male", neutered=False, weight=Fraction(20), age=Fraction(6))
    castrated = Facts("dog", "male", neutered=True, weight=Fraction(20), age=Fraction(6))
    size = [read_("prostate", k, v) for k, v in (("length", "40"), ("width", "35"), ("height", "32"))]
    first, second = results(size, intact), results(size, castrated)
    assert rounded(first["PROMAX:prostate:expected-length-max:"].unrounded, 2) == Decimal("5.27")
    assert first["PROMAX:prostate:expected-length-max:"].computation.formula.evidence == "M"
    assert str(first["PROVOL:prostate:volume:"].shown) == "19.0"
    assert str(second["PRON:prostate:expected-length:"].shown) == "21.3"
    assert "PROMAX:prostate:expected-length-max:" not in second
    assert results([], intact) == {}
    assert not [n for n in results(size, Facts("cat", "male", neutered=False, weight=Fraction(4))) if "prostate" in n]


def test_a_formula_from_memory_judges_nothing_whatever_limit_a_practice_has() -> None:
    own = Limit(
        "OWN-1",
        ("prostate",),
        "volume",
        ("dog",),
        "volume",
        "mL",
        high=Decimal(10),
        flags=frozenset("H"),
        in_force=("dog",),
    )
    rows = replace(rules(), limits={("dog", "prostate", "volume"): (own,)})
    known = Circumstances("dog")
    sent = judge("prostate", "volume", Decimal(19), "cm3", circumstances=known, rules=rows)
    ours = judge("prostate", "volume", Decimal(19), "cm3", circumstances=known, rules=rows, formula="PROVOL")
    assert (sent.flag, ours.flag, ours.reason) == (
        "H",
        "",
        "It is computed by a formula from memory, so it is shown only.",
    )


SITES = ("diaphragmaticohepatic", "splenorenal", "cystocolic", "hepatorenal")


@pytest.mark.parametrize(
    ("species", "depths", "score"),
    [
        ("dog", ("8", "3", "25", "0"), "2.0"),
        ("dog", ("5", "5", "5", "0"), "1.5"),  # three small pockets: a training page's example
        ("dog", ("10", "10.1", "0", "0"), "1.5"),  # up to 10 mm is small in the dog
        ("cat", ("5", "5.1", "0", "0"), "1.5"),  # up to 5 mm in the cat
        ("dog", ("0", "0", "0", "0"), "0.0"),
        ("cat", ("6", "6", "6", "6"), "4.0"),
    ],
)
def test_the_fluid_score_adds_four_sites(species: str, depths: tuple[str, ...], score: str) -> None:
    """Lisciandro 2009 and later versions: 0, 0.5 or 1 for each site."""
    readings = [read_("peritoneum", f"pocket-depth-{s}", d) for s, d in zip(SITES, depths, strict=True)]
    facts = DOG if species == "dog" else CAT
    assert str(results(readings, facts)["AFS:peritoneum:fluid-score:"].shown) == score
    assert results(readings[:3], facts) == {}, "three sites are no score of four"


def waveform(source: str, peak: str, end: str) -> list[Reading]:
    return [
        read_("kidney_left", "peak-systolic-velocity", peak, source),
        read_("kidney_left", "end-diastolic-velocity", end, source),
    ]


def test_each_waveform_has_its_index_and_the_mean_stands_for_all() -> None:
    readings = [
        *waveform("Observation/1", "32", "11"),
        *waveform("Observation/2", "30", "9"),
        *waveform("Observation/3", "40", "12"),
    ]
    found = results(readings)
    singles = [d for n, d in found.items() if n.startswith("RI:")]
    assert [d.sources for d in singles] == [("Observation/1",), ("Observation/2",), ("Observation/3",)]
    mean = found["MEAN:kidney_left:resistive-index:"]
    assert mean.value == (Fraction(21, 32) + Fraction(7, 10) + Fraction(7, 10)) / 3
    assert mean.sources == tuple(d.name for d in singles)
    assert mean.readings == 3
    assert found["MEAN:kidney_left:peak-systolic-velocity:"].value == 34


def test_velocities_that_came_alone_are_averaged_first() -> None:
    """Which peak belongs to which end is not known then."""
    peaks = [read_("kidney_left", "peak-systolic-velocity", v, f"Observation/p{v}") for v in ("30", "34")]
    ends = [read_("kidney_left", "end-diastolic-velocity", v, f"Observation/e{v}") for v in ("10", "12")]
    found = [d for n, d in results([*peaks, *ends]).items() if n.startswith("RI:")]
    assert [d.value for d in found] == [Fraction(32 - 11, 32)]
    assert set(found[0].sources) == {"Observation/p30", "Observation/p34", "Observation/e10", "Observation/e12"}


def test_the_mean_of_exact_quotients_is_exact() -> None:
    """Rounded to 28 digits, two thirds and a third would not make a half of one."""
    readings = [*waveform("Observation/1", "3", "1"), *waveform("Observation/2", "3", "2")]
    assert results(readings)["MEAN:kidney_left:resistive-index:"].unrounded == Decimal("0.5")


def test_several_nodes_keep_their_own_axes() -> None:
    left = [
        read_("jejunal_nodes", k, v, "Observation/l", side="left") for k, v in (("thickness", "4"), ("length", "20"))
    ]
    right = [
        read_("jejunal_nodes", k, v, "Observation/r", side="right") for k, v in (("thickness", "6"), ("length", "10"))
    ]
    found = results([*left, *right])
    assert [(d.value, d.side, d.group) for d in found.values()] == [
        (Fraction(1, 5), "left", "Observation/l"),
        (Fraction(3, 5), "right", "Observation/r"),
    ]
    apart = [read_("jejunal_nodes", "thickness", v, f"Observation/t{v}") for v in ("4", "6")]
    longs = [read_("jejunal_nodes", "length", v, f"Observation/l{v}") for v in ("20", "10")]
    assert results([*apart, *longs]) == {}, "which belongs to which is never guessed"


def test_of_several_lengths_the_latest_counts() -> None:
    first = read_("kidney_left", "length", "50", "Observation/a", at="2026-11-25T10:05:00Z")
    second = read_("kidney_left", "length", "60", "Observation/b", at="2026-11-25T11:00:00+01:00")
    found = results([first, second, read_("aorta", "luminal-diameter", "10")])["KAO:kidney_left:aorta-ratio:"]
    assert found.sources == ("Observation/a", "Observation/aorta-luminal-diameter")
    assert found.at == "2026-11-25T10:05:00Z"


def test_the_aorta_at_the_same_level_is_preferred() -> None:
    readings = [read_("portal_vein", "diameter", "6"), read_("aorta", "luminal-diameter", "10")]
    assert results(readings)["PVAO:portal_vein:aorta-ratio:"].value == Fraction(6, 10)
    near = [*readings, read_("aorta", "luminal-diameter-porta-hepatis", "8")]
    assert results(near)["PVAO:portal_vein:aorta-ratio:"].value == Fraction(6, 8)


def test_a_site_is_never_mixed_with_another() -> None:
    readings = [read_("caudal_vena_cava", "luminal-diameter-iliac", "6"), read_("aorta", "luminal-diameter", "10")]
    assert results(readings) == {}


def test_dividing_by_nothing_gives_nothing() -> None:
    assert results(waveform("Observation/1", "0", "0")) == {}


def test_an_index_that_its_own_velocities_contradict_is_told() -> None:
    """A published feline hepatic artery: 49.79 and 31.92 cm/s give 0.36, not the 0.59 in print."""
    sent = read_("kidney_left", "resistive-index", "0.59", "Observation/1")
    found = results([*waveform("Observation/1", "49.79", "31.92"), sent], CAT)
    (one,) = disagreements([sent], list(found.values()))
    assert str(one.computed.shown) == "0.36"
    near = read_("kidney_left", "resistive-index", "0.37", "Observation/1")
    assert not list(disagreements([near], list(found.values())))
    alone = read_("kidney_right", "resistive-index", "0.59")
    assert not list(disagreements([alone], list(found.values()))), "without inputs nothing contradicts it"


def test_a_bladder_volume_may_be_by_either_formula() -> None:
    """The two lie 17 to 21 per cent apart (trade's table of disagreements)."""
    size = [read_("urinary_bladder", k, v) for k, v in (("length", "61"), ("width", "42"), ("height", "39"))]
    for value, agrees in (("62.8", True), ("52", True), ("57", False), ("80", False)):
        sent = read_("urinary_bladder", "volume", value)
        assert bool(list(disagreements([sent], list(results([*size, sent]).values())))) is not agrees, value


@pytest.mark.parametrize(
    ("share", "band"),
    [
        ("0", "mild"),
        ("24.999", "mild"),
        ("25", "moderate"),
        ("49.9", "moderate"),
        ("50", "modsevere"),
        ("74", "modsevere"),
        ("75", "severe"),
        ("100", "severe"),
    ],
)
def test_sludge_has_no_gap_between_its_bands(share: str, band: str) -> None:
    """DeMonaco 2015, half-open."""
    found = rules().formulas["SLUDGE"].band(Decimal(share))
    assert found is not None
    assert found.code == f"sludge-{band}"


def test_all_twenty_nine_computations_of_the_table_have_a_row() -> None:
    table = [
        "KAO", "PVAO", "CVCAO", "CVCCI", "GBV", "GBVKG", "GBEF", "SLUDGE", "PVF", "CI",
        "RI", "PI", "RIQC", "UBV1", "UBV2", "URV", "KVOL", "MILAO", "SL", "STUMPAO",
        "PDRATIO", "PROMAX", "PROVOL", "PRON", "AFS", "WALLR", "BAND", "FLAG", "TREND",
    ]  # fmt: skip
    assert len(table) == 29
    assert set(table) <= set(rules().formulas)
    used = {c.formula.key for rows in rules().computations.values() for c in rows}
    assert used == {key for key, f in rules().formulas.items() if f.kind == "value"}


@pytest.mark.parametrize(
    "text", ["a +", "(a", "a b", "1..2", "a ** b", "pocket(a)", "abs(a, b)", "__import__", "a;b", "(" * 40 + "a", ""]
)
def test_what_is_no_formula_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        read(text)


def test_products_bind_before_sums() -> None:
    assert read("1 + 2 * a - (3 - a) / 2").of({"a": Fraction(1)}) == 2


@given(st.fractions(min_value=0, max_value=100), st.fractions(min_value=1, max_value=20))
def test_a_pocket_scores_none_half_or_one(depth: Fraction, small: Fraction) -> None:
    score = pocket(depth, small)
    assert score in {0, Fraction(1, 2), 1}
    assert (score == 0) == (depth == 0)
    assert (score == 1) == (depth > small)


@given(st.integers(1, 10**6), st.integers(1, 10**6))
def test_a_decimal_has_all_digits_or_twenty_eight(one: int, other: int) -> None:
    value = decimal(Fraction(one, other))
    assert abs(Fraction(value) - Fraction(one, other)) <= Fraction(one, other) / 10**27
    assert len(value.as_tuple().digits) <= 28
