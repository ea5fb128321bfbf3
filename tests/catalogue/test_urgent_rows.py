"""What must be told at once, as rows: all of the trade's list, triggers that can be met, limits said once."""

from dataclasses import replace
from decimal import Decimal

import pytest

from service.catalogue.catalogue import Catalogue
from service.catalogue.check import faults
from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.exam.urgent import Condition, Fact, Trigger, suggested
from tests.builders.survey import mappings

FILE = "urgent-findings.csv"
TIERS = {
    # the trade's list; the tiers are own, for no veterinary list with times is known
    1: {"free-gas", "septic-fluid", "large-bleed", "gb-rupture", "pericardial", "diaphragm-break", "torsion",
        "mesenteric", "urinary-obstruction", "fetal-distress", "gdv", "discrepancy"},
    2: {"linear-fb", "obstruction", "ureter-obstruction", "pyometra", "ehbo", "mucocele", "vein-thrombus", "pleural",
        "emphysema", "abscess"},
    3: {"mass-new", "nodes", "adrenal-mass"},
    0: {"other"},
}  # fmt: skip
BY_A_PERSON = {"gdv", "discrepancy", "other"}


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return mappings()


def test_the_whole_list_is_there(catalogue: Catalogue) -> None:
    assert {t: {u.code for u in catalogue.urgent.values() if u.tier == t} for t in TIERS} == TIERS
    assert {u.code for u in catalogue.urgent.values() if not u.triggers} == BY_A_PERSON


@pytest.mark.parametrize(
    ("tier", "escalate", "breach"),
    # attempt at once, escalate at 15 min, overdue at 60 min; same visit, 4 h; 3 days: own, within the tiers of the
    # ACR Actionable Reporting Work Group (minutes, hours, days)
    [(1, 15, 60), (2, 120, 240), (3, 2880, 4320)],
)
def test_how_soon(catalogue: Catalogue, tier: int, escalate: int, breach: int) -> None:
    rank = catalogue.tiers[tier]
    assert (rank.escalate, rank.breach) == (escalate, breach)
    assert rank.voice == (tier == 1)
    assert rank.finish_waits == (tier < 3)


@pytest.mark.parametrize(
    ("code", "item", "sign", "limit", "unit", "species"),
    [
        # d'Anjou, Bedard, Dunn 2011: 13 mm or more was always obstruction, dogs and cats
        ("ureter-obstruction", "measure:pelvis-width", ">=", "13", "mm", {"dog", "cat"}),
        # Sharma, Thompson, Scrivani 2011: more than 15 mm, dogs
        ("obstruction", "measure:lumen-diameter", ">", "15", "mm", {"dog"}),
        # Leveille, Biller, Shiroma 1996: 6 of 7 cats with more than 5 mm were obstructed
        ("ehbo", "measure:diameter-at-porta-hepatis", ">", "5.0", "mm", {"cat"}),
        ("fetal-distress", "measure:fetal-heart-rate", "<", "180", "/min", {"dog", "cat"}),
    ],
)
def test_limits_are_those_of_the_published_tables(
    catalogue: Catalogue, code: str, item: str, sign: str, limit: str, unit: str, species: set[str]
) -> None:
    tests = [
        (t.sign, t.limit, t.unit, g.species)
        for g in catalogue.urgent[code].triggers
        for t in g.tests
        if item in t.items
    ]
    assert (sign, Decimal(limit), unit, species) in tests


def test_no_word_for_a_mass_is_left_out(catalogue: Catalogue) -> None:
    looked = {(s, i, v) for u in catalogue.urgent.values() for g in u.triggers for t in g.tests for s in t.structures
              for i in t.items for v in t.values}  # fmt: skip
    said = {
        (structure.key, f"finding:{attribute.key}", "mass")
        for structure in catalogue.structures.values()
        for attribute in catalogue.vocabularies[structure.vocabulary]
        if any(value.code.rpartition(".")[2] == "mass" for value in attribute.values)
    }
    assert said - looked == set()


def alternatives() -> list[tuple[str, Trigger]]:
    return [(rule.code, trigger) for rule in mappings().urgent.values() for trigger in rule.triggers]


@pytest.mark.parametrize(("code", "trigger"), alternatives())
def test_each_trigger_can_be_met_and_needs_each_of_its_conditions(
    catalogue: Catalogue, code: str, trigger: Trigger
) -> None:
    rule = replace(catalogue.urgent[code], triggers=(trigger,))
    met = [facts(t) for t in trigger.tests]

    def fires(groups: list[list[Fact]], species: str) -> bool:
        told = [fact for group in groups for fact in group]
        return bool(suggested(told, [rule], species=species, units=catalogue.units))

    for species in ("dog", "cat"):
        assert fires(met, species) == (species in trigger.species)
    for left in (i for i, t in enumerate(trigger.tests) if t.sign != "!="):
        assert not fires([g for i, g in enumerate(met) if i != left], min(trigger.species))


def facts(test: Condition) -> list[Fact]:
    """The least that meets a condition, for each of its values, structures and items."""
    step = {"<": Decimal("-0.1"), ">": Decimal("0.1")}.get(test.sign, Decimal(0))
    return [
        Fact(place, item, f"Observation/{n}-{place}", "words", value, test.limit + step, test.unit)
        for place in sorted(test.structures)
        for item in sorted(test.items)
        for value in (sorted(test.values) if test.sign == "=" else ["else"])
        for n in range(test.times)
    ]


@pytest.mark.parametrize(
    ("trigger", "told"),
    [
        ("spleen", "is no condition"),
        ("splen.size=normal", "neither a structure nor a vocabulary"),
        ("spleen.size=huge", "spleen has no finding size=huge"),
        ("spleen.colour=red", "spleen has no finding colour=red"),
        ("jejunum.lumen-diameter>15 kg", "lumen-diameter is measured there in mm"),
        ("jejunum.lumen-diameter>wide", "is no amount"),
        ("jejunum.lumen-diameter>NO-SUCH", "is not in limits.csv"),
        ("jejunum.lumen-diameter<JEJ-D-LUM", "flags no such end"),
        ("cat: jejunum.lumen-diameter>JEJ-D-LUM", "flags no such end"),
        ("duodenum.lumen-diameter>JEJ-D-LUM", "flags no such end"),
        ("jejunum.wall-thickness>JEJ-D-1", "flags no such end"),
        ("note.mood!=good", "cannot be compared so"),
        ("focal_lesion.kind=blob", "only its kind is looked at"),
        ("focal_lesion.edge=sharp", "only its kind is looked at"),
    ],
)
def test_a_trigger_that_can_never_be_met_is_a_fault_with_its_line(trigger: str, told: str) -> None:
    files = read_folder()
    files[FILE] += f"invented,Invented,1,both,{trigger},,own\n"
    line = files[FILE].count("\n")
    found = faults(files)
    assert [f.partition(": ")[0] for f in found] == [f"{FILE}:{line}"]
    assert told in found[0]


def test_a_limit_that_is_changed_changes_what_is_urgent() -> None:
    files = read_folder()
    (row,) = [line for line in files["limits.csv"].split("\n") if line.startswith("JEJ-D-LUM,")]
    files["limits.csv"] = files["limits.csv"].replace(row, row.replace(",,15,,yes,", ",,12,,yes,"))
    wide = [Fact("jejunum", "measure:lumen-diameter", "Observation/a", "words", "", Decimal("12.1"), "mm")]
    for rows, found in ((load(files), {"obstruction"}), (mappings(), set())):
        assert set(suggested(wide, rows.urgent.values(), species="dog", units=rows.units)) == found


def test_a_tier_that_is_missing_or_late_is_a_fault() -> None:
    files = read_folder()
    files["urgent-tiers.csv"] = files["urgent-tiers.csv"].replace("stat,15,60", "stat,90,60").replace("\n3,", "\n1,")
    found = faults(files)
    assert "urgent-tiers.csv:0: tier 3 is missing" in found
    assert any("escalates after it is overdue" in f for f in found)
