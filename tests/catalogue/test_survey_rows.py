"""The survey as shipped, read as a veterinarian would."""

from decimal import Decimal

import pytest

from service.catalogue.catalogue import Catalogue
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.exam.rules import Attribute, StepRule


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load(read_folder())


def steps(catalogue: Catalogue, species: str) -> dict[str, StepRule]:
    return {s.code: s for s in catalogue.protocols[species].steps}


def attribute(catalogue: Catalogue, vocabulary: str, key: str) -> Attribute:
    return next(a for a in catalogue.vocabularies[vocabulary] if a.key == key)


def test_all_fifty_seven_rows_of_the_survey_are_there(catalogue: Catalogue) -> None:
    rows = [line.split(",")[2] for line in read_folder()["protocols/abdomen.csv"].splitlines()[1:]]
    assert len(set(rows)) == 57
    both = steps(catalogue, "dog") | steps(catalogue, "cat")
    assert set(rows) - both.keys() == {"prostate_cat"}, "the tomcat's prostate is no step"
    per_station = [sum(s.station == n for s in both.values()) for n in range(1, 11)]
    assert per_station == [6, 5, 3, 5, 10, 5, 8, 5, 6, 3]
    assert sum(s.requirement == "required" for s in both.values()) == 32
    assert sum(s.requirement == "required-attempt" for s in both.values()) == 10


def test_each_species_has_its_own_steps(catalogue: Catalogue) -> None:
    dog, cat = steps(catalogue, "dog"), steps(catalogue, "cat")
    assert len(dog) == 55
    assert len(cat) == 53
    assert dog.keys() - cat.keys() == {"prostate", "prostate_neutered", "medial_iliac_nodes"}
    assert cat.keys() - dog.keys() == {"medial_iliac_nodes_cat"}
    assert cat["medial_iliac_nodes_cat"].structure == dog["medial_iliac_nodes"].structure == "medial_iliac_nodes"
    assert cat["spleen"].measures == ("thickness",)
    assert dog["spleen"].measures == ()
    assert "thickness" in dog["spleen"].may_measure
    assert cat["ileum"].measures == ("wall-thickness",)
    assert dog["ileum"].measures == ()


def test_steps_come_in_scanning_order(catalogue: Catalogue) -> None:
    for protocol in catalogue.protocols.values():
        places = [(s.station, s.sequence) for s in protocol.steps]
        assert places == sorted(set(places))


def test_sex_and_neuter_status_stand_where_the_anatomy_differs(catalogue: Catalogue) -> None:
    sexed = {c: (s.sex, s.neutered, s.special) for c, s in steps(catalogue, "dog").items() if s.sex}
    assert sexed == {
        "ovary_left": ("female", False, ""),
        "ovary_right": ("female", False, ""),
        "ovarian_remnant_left": ("female", True, "ovarian-bed"),
        "ovarian_remnant_right": ("female", True, "ovarian-bed"),
        "prostate": ("male", False, ""),
        "prostate_neutered": ("male", True, ""),
        "testes": ("male", False, ""),
        "retained_testis": ("male", None, "retained-testis"),
        "uterus": ("female", None, "uterus"),
        "uterine_stump": ("female", None, "stump"),
        "pregnancy": ("female", False, "pregnancy"),
    }


def test_a_second_look_at_the_papilla_settles_the_duct_and_the_papilla(catalogue: Catalogue) -> None:
    second = steps(catalogue, "cat")["duodenal_papilla_recheck"]
    assert (second.structure, second.settles) == ("duodenal_papilla", ("common_bile_duct", "duodenal_papilla"))
    assert not second.owed_from_start


def test_optional_planes_are_not_owed(catalogue: Catalogue) -> None:
    for protocol in catalogue.protocols.values():
        assert {p for s in protocol.steps for p in s.planes} == {"long", "short", "multi"}


def test_what_must_be_measured(catalogue: Catalogue) -> None:
    must = {c: s.measures for c, s in steps(catalogue, "dog").items() if s.measures}
    assert must == {
        "gallbladder": ("wall-thickness",),
        "kidney_left": ("length",),
        "kidney_right": ("length",),
        "adrenal_left": ("dorsoventral-thickness",),
        "adrenal_right": ("dorsoventral-thickness",),
        "urinary_bladder": ("wall-thickness",),
        "prostate": ("length", "width", "height"),
        "pregnancy": ("fetal-heart-rate",),
        "stomach_fundus_body": ("wall-thickness",),
        "duodenum": ("wall-thickness",),
        "jejunum": ("wall-thickness",),
        "aorta": ("luminal-diameter",),
        "peritoneum": ("fluid-score",),
    }


def test_centimetres_for_millimetres_are_implausible_and_published_values_are_not(catalogue: Catalogue) -> None:
    wall = catalogue.measures["dog", "urinary_bladder", "wall-thickness"]
    assert wall.low <= Decimal("0.40") <= wall.high < Decimal(120)
    seen = [  # the widest published observations: d'Anjou 2011, Park 2008, Melian 2021, Geisse 1997
        ("dog", "kidney_left", "pelvis-width", "76.2"),
        ("cat", "kidney_right", "length", "39.6"),
        ("dog", "adrenal_right", "dorsoventral-thickness", "8.7"),
        ("dog", "urinary_bladder", "wall-thickness", "2.3"),
    ]
    for kidney in ("kidney_left", "kidney_right"):
        assert Decimal("3.96") < catalogue.measures["cat", kidney, "length"].low
    for species, structure, measure, value in seen:
        rule = catalogue.measures[species, structure, measure]
        assert rule.low <= Decimal(value) <= rule.high


def test_a_doppler_measurement_says_so(catalogue: Catalogue) -> None:
    doppler = {rule.key for rule in catalogue.measures.values() if rule.doppler}
    assert doppler == {
        "resistive-index",
        "pulsatility-index",
        "peak-systolic-velocity",
        "end-diastolic-velocity",
        "mean-velocity",
    }


def test_every_structure_can_be_described(catalogue: Catalogue) -> None:
    for structure in catalogue.structures.values():
        assert catalogue.vocabularies[structure.vocabulary], structure.key
    assert [a.key for a in catalogue.vocabularies["general"]] == ["appearance"]
    assert catalogue.structures["kidney_left"].vocabulary == catalogue.structures["kidney_right"].vocabulary
    assert {a.key for a in catalogue.vocabularies["bowel"]} - {a.key for a in catalogue.vocabularies["gut"]} == {
        "muscularis",
        "special",
    }


@pytest.mark.parametrize(
    ("vocabulary", "key"),
    [
        ("urinary_bladder", "fill"),  # must be chosen
        ("portal_vein", "flow-direction"),  # needs Doppler
        ("lymph_node", "flow"),  # needs Doppler
        ("pregnancy", "viability"),
        ("gallbladder", "mobility"),
        ("common_bile_duct", "visibility"),  # seen or not: nobody knows but who looked
        ("ovarian_bed", "finding"),
        ("ureteral_papillae", "jets"),
        ("ovary", "state"),
        ("uterine_stump", "state"),
        ("retained_testis", "finding"),
        ("gut", "distribution"),
    ],
)
def test_nothing_fills_what_only_a_person_can_say(catalogue: Catalogue, vocabulary: str, key: str) -> None:
    assert attribute(catalogue, vocabulary, key).default is None


def test_follow_up_questions_name_their_reason(catalogue: Catalogue) -> None:
    asked = {
        (name, a.key): a.asked_when
        for name, attributes in catalogue.vocabularies.items()
        for a in attributes
        if a.asked_when
    }
    assert asked == {
        ("peritoneum", "fluid-echo"): "fluid!=none",
        ("gallbladder", "mobility"): "content!=anechoic",
        ("lymph_node", "flow"): "size!=normal",
        ("testes", "flow"): "surround!=normal",
        ("abdominal_wall", "hernia-content"): "wall!=intact",
        ("common_bile_duct", "content"): "visibility!=not-visible",
        ("gut", "distribution"): "wall-thickness!=normal",
        ("bowel", "distribution"): "wall-thickness!=normal",
    }


def test_a_default_is_never_abnormal_and_not_assessed_is_never_normal(catalogue: Catalogue) -> None:
    for attributes in catalogue.vocabularies.values():
        for value in (v for a in attributes for v in a.values):
            assert not value.default or value.grade == 0, value
            if value.code in {"not-assessed", "not-done", "not-tested"}:
                assert (value.default, value.grade) == (False, -1), value


def test_no_step_asks_for_the_record_of_a_focal_lesion(catalogue: Catalogue) -> None:
    assert "focal_lesion" not in {s.vocabulary for s in catalogue.structures.values()}
