"""Which steps an animal and an order call for. The table is the one of the survey chapter, as rows of mappings/."""

from typing import Any

import pytest

from service.exam.animal import Animal
from service.exam.protocol import steps_for
from service.exam.rules import StepRule
from tests.builders.survey import mappings


def steps(
    species: str = "dog", service: str = "full", structures: tuple[str, ...] = (), **animal: Any
) -> dict[str, str]:
    rows = mappings()
    known = Animal(id="1", species=species, **animal)
    found: tuple[StepRule, ...] = steps_for(rows.protocols[species], known, rows.services[service], structures)
    return {rule.code: rule.requirement for rule in found}


SEXED = {
    ("dog", "male", False): {"prostate", "testes"},
    ("dog", "male", True): {"prostate_neutered"},
    ("cat", "male", False): {"testes"},
    ("cat", "male", True): set(),
    ("dog", "female", False): {"ovary_left", "ovary_right", "uterus", "pregnancy"},
    ("cat", "female", False): {"ovary_left", "ovary_right", "uterus", "pregnancy"},
    ("dog", "female", True): {"uterine_stump", "ovarian_remnant_left", "ovarian_remnant_right"},
    ("cat", "female", True): {"uterine_stump", "ovarian_remnant_left", "ovarian_remnant_right"},
}
ALL_SEXED = set().union(*SEXED.values()) | {"retained_testis"}


@pytest.mark.parametrize(("species", "sex", "neutered"), SEXED)
def test_sex_and_neuter_status_choose_their_steps(species: str, sex: str, neutered: bool) -> None:
    found = set(steps(species, sex=sex, neutered=neutered, scrotal_testes=2))
    assert found & ALL_SEXED == SEXED[species, sex, neutered]
    assert not {c for c in found if c.startswith("ask_")}


def test_required_steps_of_the_whole_table() -> None:
    """Of the table's 32 required and 10 required-attempt rows, 29 and 5 are asked of every dog; the rest hang on sex or
    species: prostate (two rows), uterus; ovaries, stump, undescended testis, iliac nodes of the cat."""
    common = {c: r for c, r in steps(sex="female", neutered=True).items() if c not in ALL_SEXED}
    assert sum(r == "required" for r in common.values()) == 29
    assert sum(r == "required-attempt" for r in common.values()) == 5


def test_species_chooses_the_nodes() -> None:
    assert "medial_iliac_nodes" in steps("dog", sex="female", neutered=True)
    cat = steps("cat", sex="female", neutered=True)
    assert cat["medial_iliac_nodes_cat"] == "required-attempt"
    assert "medial_iliac_nodes" not in cat
    assert "prostate_cat" not in steps("cat", sex="male", neutered=True)


@pytest.mark.parametrize(
    ("animal", "asked"),
    [
        ({}, {"ask_sex", "ask_neuter"}),
        ({"sex": "female"}, {"ask_neuter"}),
        ({"sex": "male"}, {"ask_neuter"}),
        ({"neutered": True}, {"ask_sex"}),
        ({"sex": "male", "neutered": False}, {"ask_testes"}),
        ({"sex": "male", "neutered": True}, set()),
        ({"sex": "male", "neutered": False, "scrotal_testes": 1}, set()),
    ],
)
def test_what_is_unknown_is_asked_and_never_guessed(animal: dict[str, Any], asked: set[str]) -> None:
    found = steps(**animal)
    assert {c for c in found if c.startswith("ask_")} == asked
    if "sex" not in animal:
        assert not set(found) & ALL_SEXED


@pytest.mark.parametrize(("testes", "searched"), [(0, True), (1, True), (2, False), (None, False)])
def test_fewer_than_two_testes_add_the_search(testes: int | None, searched: bool) -> None:
    found = steps(sex="male", neutered=False, scrotal_testes=testes)
    assert ("retained_testis" in found) is searched


def test_a_known_gestation_is_required_an_excluded_one_has_no_step() -> None:
    assert steps(sex="female", neutered=False)["pregnancy"] == "if-present"
    assert steps(sex="female", neutered=False, pregnant=True)["pregnancy"] == "required"
    assert "pregnancy" not in steps(sex="female", neutered=False, pregnant=False)


def test_a_limited_exam_asks_for_what_it_names_and_nothing_else() -> None:
    found = steps(service="limited", structures=("kidney_left", "kidney_right"))
    assert found == {"kidney_left": "required", "kidney_right": "required"}


def test_what_an_order_names_is_owed_even_where_it_is_optional() -> None:
    assert steps(service="limited", structures=("hepatic_lymph_nodes",)) == {"hepatic_lymph_nodes": "required-attempt"}
    assert steps(service="limited", structures=("ureter_left",)) == {"ureter_left": "required-attempt"}
    named = steps(sex="female", neutered=True, structures=("ovarian_remnant_left",))
    assert named["ovarian_remnant_left"] == "required-attempt"
    assert named["ovarian_remnant_right"] == "only-if-asked"


def test_a_limited_exam_asks_only_questions_that_matter_to_it() -> None:
    assert set(steps(service="limited", structures=("prostate",))) == {"ask_sex", "ask_neuter"}
    assert set(steps(service="limited", structures=("prostate",), sex="female")) == set()


def test_the_focused_fluid_check_looks_where_its_row_says() -> None:
    found = steps(service="fluid-check")
    assert set(found) == set(mappings().services["fluid-check"].structures)
    assert set(found.values()) <= {"required", "required-attempt"}
