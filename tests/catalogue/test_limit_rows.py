"""The rows about limits: all of them are there, the default set is the recommended one, and what is wrong is told."""

import csv
import io
from collections import Counter
from itertools import pairwise

import pytest
from ucumvert import PintUcumRegistry, get_ucum_parser

from service.catalogue.files import read_folder
from tests.builders.limits import shipped
from tests.catalogue.broken import line_of, said

ROWS = shipped().limit_rows

# The recommended default set, as the trade's notes list it (part 2.2), with the exceptions decided for this service:
# a cat's renal resistive index by its own row, softly, and the cut-off of the renal pelvis for both species.
DOG = {
    "GBW-D-1", "CBD-D-PH", "CBD-D-DP", "PVAO-2", "CVCAO-D-1", "KAO-D-1", "RP-X-1", "RI-D-1", "PI-D-1",
    "ADL-D-2.5", "ADR-D-2.5", "ADL-D-5", "ADR-D-5", "ADL-D-10", "ADR-D-10", "ADL-D-20", "ADR-D-20", "DUO-D-1",
    "DUO-D-2", "DUO-D-3", "JEJ-D-1", "JEJ-D-2", "JEJ-D-3", "JEJ-D-LUM", "MILAO-D-2", "URV-D-1", "STO-D-1",
}  # fmt: skip
CAT = {
    "GBW-C-1", "CBD-C-1", "CVCAO-C-1", "CVCAO-C-2", "SPL-C-4", "KL-C-4", "AD-C-1", "AD-C-2", "RI-C-1",
    "DUO-C-3", "ILE-C-2", "PDU-C-2", "LN-C-1", "RP-X-1",
}  # fmt: skip


def test_all_206_published_figures_are_there() -> None:
    assert len(ROWS) == 206
    assert sum(1 for r in ROWS.values() if r.flags) == 54  # 56 as published, less DUO-C-1 and ILE-C-1: shown only
    assert Counter(r.source.evidence for r in ROWS.values()) == {
        "SEEN-ABS": 158, "SEEN-HANDBOOK": 32, "MEM": 13, "NOT-FOUND": 2, "SEEN-COMM": 1
    }  # fmt: skip


def test_the_default_set_is_in_force_and_nothing_else() -> None:
    assert {r.id for r in ROWS.values() if "dog" in r.in_force} == DOG
    assert {r.id for r in ROWS.values() if "cat" in r.in_force} == CAT


def test_rows_where_sources_disagree_flag_softly_or_not_at_all() -> None:
    assert all(ROWS[name].soft for name in ("KL-C-4", "RI-C-1", "DUO-C-3", "ILE-C-2", "CBD-D-PH", "CBD-D-DP", "LN-C-1"))
    assert not any(ROWS[name].flags for name in ("DUO-C-1", "ILE-C-1"))


def test_every_row_names_structures_and_a_measurement_where_there_is_one() -> None:
    assert all(r.structures for r in ROWS.values())
    without = {r.id for r in ROWS.values() if not r.measure}
    assert all(not ROWS[name].flags for name in without)
    assert len(without) < 45  # visibility, prevalence, and what the survey does not measure


def test_every_unit_is_ucum() -> None:
    parser, registry = get_ucum_parser(), PintUcumRegistry()
    for unit in {r.unit for r in ROWS.values()}:
        parser.parse(unit)
        assert unit == "1" or unit.startswith("{") or registry.from_ucum(unit) is not None


def test_bands_of_sludge_meet() -> None:
    bands = [ROWS[f"GBS-D-{n}"] for n in (1, 2, 3, 4)]
    for lower, upper in pairwise(bands):
        assert lower.high == upper.low
        assert (lower.high_inside, upper.low_inside) == (False, True)


def test_disagreements_name_what_they_are_about() -> None:
    told = shipped().disagreements
    assert len(told) == 23
    assert all(one.structures and one.measures and one.species and one.advice for one in told)


def test_names_of_breeds_are_text() -> None:
    breeds = shipped().breeds
    assert len(breeds["dog"]) > 400
    assert len(breeds["cat"]) > 50
    assert not [name for names in breeds.values() for name in names if name != name.strip() or name.isdigit()]


BROKEN = [
    # file, what stands there, what is put there, start of the line blamed, words of the fault
    ("limits.csv", "GBW-D-1,gallbladder,", "GBW-D-1,bag,", "GBW-D-1,", 'structure "bag"'),
    ("limits.csv", "KAO-D-1,kidney_left kidney_right,aorta-ratio", "KAO-D-1,kidney_left kidney_right,ratio-of-all",
     "KAO-D-1,", 'measure "ratio-of-all"'),
    ("limits.csv", "SPL-C-4,spleen,thickness,thickness,cat", "SPL-C-4,spleen,thickness,thickness,lion", "SPL-C-4,",
     'species "lion"'),
    ("limit-tables.csv", "dorsoventral-thickness,Melian", "thickness-of-all,Melian", "melian-2021",
     'measure "thickness-of-all"'),
    ("limit-choices.csv", "adrenal-dog,melian-2021", "adrenal-dog,melian-1921", "adrenal-dog",
     "is no table of adrenal-dog"),
    ("places.csv", "inter-rugal,Between", "between-folds,Between", "STO-D-1", 'place "inter-rugal"'),
    ("judging.csv", "weight-days,30", "weight-weeks,4", "", "the setting weight-days is missing"),
    ("breeds.csv", "dog,Aidi", "lion,Aidi", "dog,Aidi", 'species "lion"'),
]  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "start", "words"), BROKEN)
def test_a_broken_row_is_told(file: str, old: str, new: str, start: str, words: str) -> None:
    told = [fault for fault in said(file, old, new) if words in fault]
    assert told
    if start and file != "places.csv":
        assert told[0].startswith(f"{file}:{line_of(file, start)}: ")


def changed(name: str, **cells: str) -> list[str]:
    """The faults when cells of one row of limits.csv are other ones."""
    read = list(csv.DictReader(io.StringIO(read_folder()["limits.csv"])))
    row = next(r for r in read if r["limit"] == name)
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow(row.values())
    before = out.getvalue()
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow((row | cells).values())
    return said("limits.csv", before, out.getvalue())


@pytest.mark.parametrize(
    ("name", "cells", "words"),
    [
        ("GBW-D-1", {"evidence": "MEM"}, "a row of evidence MEM drives no flag"),
        ("GBW-D-1", {"high": ""}, "flag-high needs the end that it flags beyond"),
        ("GBW-D-1", {"unit": "cm"}, 'unit "cm" is not that of wall-thickness, mm'),
        ("GBW-D-1", {"in_default_set": "cat"}, "in_default_set names a species that the row is not about"),
        ("GBW-D-1", {"weight_min": "50"}, "weight_min 50 is not below weight_max 40"),
        ("GBW-D-1", {"band": ""}, "a band of weights needs its words"),
        ("GBW-D-1", {"grey": "1.0"}, "grey 1.0 lies beyond the one end that is flagged"),
        ("GBW-D-1", {"planes": "oblique"}, 'plane "oblique" is not in planes.csv'),
        ("GBW-D-1", {"table": "nobody-1900"}, 'table "nobody-1900" is not in limit-tables.csv'),
        ("GBW-D-2", {"in_default_set": "dog"}, "in_default_set is for rows that flag"),
        ("GBW-D-2", {"use": "flag-high", "in_default_set": "dog"}, "GBW-D-2 and GBW-D-1 are in force for the same"),
        ("ADL-D-5", {"min_included": "yes"}, "ADL-D-5 and ADL-D-2.5 are in force for the same"),
        ("KAO-D-1", {"low": "9.1"}, "low 9.1 is not below high 9.1"),
        ("KAO-D-1", {"use": "flag-sometimes"}, "use"),
        ("KAO-D-1", {"high": "nine"}, "must be a plain decimal number"),
    ],
)
def test_a_limit_that_could_mislead_is_told(name: str, cells: dict[str, str], words: str) -> None:
    told = changed(name, **cells)
    assert [fault for fault in told if words in fault and fault.startswith("limits.csv:")]
