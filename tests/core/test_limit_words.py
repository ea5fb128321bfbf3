"""Limits as people read them."""

import pytest

from service.exam.limit_words import ends, grey, holds_for, spoken
from tests.builders.limits import shipped

ENDS = [
    ("ADL-D-10", "at most 6.4 mm"),
    ("KAO-D-1", "5.5 to 9.1"),
    ("GBW-C-1", "below 1.0 mm"),  # 1.0 mm itself is outside
    ("PVAO-2", "at least 0.8"),
    ("PVAO-1", "above 0.65"),
    ("FHR-1", "at least 180 /min"),
    ("PV-D-1", "mean 18.1 ± 7.6 cm/s"),
    ("GBS-D-2", "25 to below 50 %"),  # the bands meet: none is left between them
    ("GBS-D-3", "50 to below 75 %"),
    ("GBS-D-4", "75 to 100 %"),
    ("AFS-2", "52 %"),
    ("PRN-D-L", "15.3 + 0.3*BW"),
    ("GI-REV", "no figure"),
    ("AFS-1", "0 to 4"),
]


@pytest.mark.parametrize(("row", "words"), ENDS)
def test_what_lies_inside_in_words(row: str, words: str) -> None:
    assert ends(shipped().limit_rows[row]) == words


def test_a_limit_is_told_with_whom_it_holds_for_and_its_source() -> None:
    rows = shipped().limit_rows
    assert spoken(rows["ADL-D-10"]) == "At most 6.4 mm (>10 kg to 20 kg): Melian 2021, upper reference limit."
    assert spoken(rows["KL-C-4"]).endswith("Sources disagree: read the flag as a hint.")
    assert grey(rows["DUO-D-1"]) == "From 5.1 to 6.0 mm lies a grey zone."
    assert holds_for(rows["PRN-D-L"]) == ("neutered male",)
    assert holds_for(rows["CVCAO-D-1"]) == ("from 7 months of age", "not sedated")
    assert holds_for(rows["STO-C-2"]) == ("rugal fold",)


def test_a_source_is_named_by_its_first_author_and_year_or_what_there_is() -> None:
    named = {row.id: row.source.words for row in shipped().limit_rows.values()}
    assert named["KAO-D-1"] == "Mareschal 2007"
    assert named["RP-X-1"] == "d'Anjou 2011"
    assert named["GBEF-D-1"] == "Finn-Bodner 1991"
    assert named["PVAO-3"] == "Sakamoto 2017"
    assert named["GBS-D-1"] == "DeMonaco 2015"
    assert named["CVCAO-C-1"] == "J Feline Med Surg 2024"
    assert named["GBW-D-3"] == "source not named"
