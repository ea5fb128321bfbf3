"""A practice's own rows over the shipped ones: which may be, what they change, and faults by their own lines."""

import csv

import pytest

from service.catalogue import overlay
from service.catalogue.faults import CatalogueFaults
from service.catalogue.files import pack, read_folder
from service.catalogue.load import Catalogues, load, overlaid

FILES = read_folder()
HEADER = FILES["limits.csv"].split("\n", 1)[0]


def row(name: str, **changed: str) -> str:
    """A shipped row of limits.csv with cells changed, as a line of its own."""
    columns = HEADER.split(",")
    (line,) = [text for text in FILES["limits.csv"].split("\n") if text.startswith(f"{name},")]
    cells = next(csv.reader([line]))
    told = dict(zip(columns, cells, strict=True)) | changed
    return ",".join(f'"{told[c]}"' for c in columns)


def limits(*rows: str) -> dict[str, str]:
    """An overlay of limits.csv."""
    return {"limits.csv": "\n".join([HEADER, *rows]) + "\n"}


def test_a_row_takes_the_place_of_the_shipped_one_of_its_name() -> None:
    found = overlaid(FILES, limits(row("GBW-D-1", high="1.5")))
    assert str(found.limit_rows["GBW-D-1"].high) == "1.5"
    assert str(load(FILES).limit_rows["GBW-D-1"].high) == "1.3"
    assert len(found.limit_rows) == len(load(FILES).limit_rows)
    assert found.hash != load(FILES).hash


def test_a_row_of_another_name_is_added() -> None:
    found = overlaid(FILES, limits(row("UBW-X-1", limit="OWN-UBW", in_default_set="dog", high="2.5", evidence="OWN")))
    assert found.limit_rows["OWN-UBW"].in_force == ("dog",)
    assert len(found.limit_rows) == len(load(FILES).limit_rows) + 1


def test_another_adrenal_table_is_one_line() -> None:
    found = overlaid(FILES, {"limit-choices.csv": "choice,table\nadrenal-dog,soulsby-2015\n"})
    assert [t.key for t in found.tables if t.in_force] == ["soulsby-2015"]


def test_a_practice_speaks_in_its_own_words_but_leaves_nothing_out() -> None:
    said = 'phrase,text,said_when\nsought,"We looked for {it} in vain, because of {reason}.",not seen\n'
    assert overlaid(FILES, {"report-phrases.csv": said}).phrases["sought"].startswith("We looked for")
    clause = "attribute,value,vocabularies,clause\nsize,normal,,{its} size is normal\n"
    assert overlaid(FILES, {"report-clauses.csv": clause}).clauses["*", "size", "normal"] == "{its} size is normal"
    assert "report-phrases.csv:2: sought must say {reason}" in faults(
        {"report-phrases.csv": said.replace(", because of {reason}", "")}
    )


def faults(files: dict[str, str]) -> list[str]:
    with pytest.raises(CatalogueFaults) as told:
        overlaid(FILES, files)
    return told.value.faults


def test_faults_are_told_by_the_lines_of_the_overlay() -> None:
    told = faults(limits(row("GBW-D-1"), row("GBW-C-1", high="one"), row("RI-D-1", evidence="MEM")))
    assert [t.split(": ")[0] for t in told] == ["limits.csv:3", "limits.csv:4"]
    assert "plain decimal number" in told[0]
    assert "drives no flag" in told[1]


def test_two_rows_in_force_for_the_same_measurement_are_a_fault() -> None:
    (told,) = faults(limits(row("GBW-C-1", limit="OWN-GBW")))
    assert told == "limits.csv:2: OWN-GBW and GBW-C-1 are in force for the same measurement of one animal"


def test_codes_prices_and_the_survey_are_not_for_a_practice_to_change() -> None:
    (told,) = faults({"tariff.csv": "charge\nfull\n"})
    assert told.startswith("tariff.csv:0: is not for a practice to change; that can be disagreements.csv, ")


def test_a_file_with_other_columns_is_told() -> None:
    (told,) = faults({"limit-choices.csv": "choice\nadrenal-dog\n"})
    assert told == "limit-choices.csv:1: the columns must be choice,table, in every row"


def test_the_difference_names_each_cell() -> None:
    before = load(FILES)
    own = limits(row("GBW-D-1", high="1.5"), row("UBW-X-1", limit="OWN-UBW", in_default_set="dog"))
    own["limit-choices.csv"] = "choice,table\nadrenal-dog,soulsby-2015\n"
    told = overlay.difference(before.files, overlaid(FILES, own).files)
    assert told[0] == 'limit-choices.csv adrenal-dog: table "melian-2021" -> "soulsby-2015"'
    assert told[1] == 'limits.csv GBW-D-1: high "1.3" -> "1.5"'
    assert told[2].startswith("limits.csv OWN-UBW: new, structures urinary_bladder, measure wall-thickness")
    assert overlay.difference(overlaid(FILES, own).files, before.files)[-1] == "limits.csv OWN-UBW: gone"
    assert overlay.difference(before.files, before.files) == []


def test_the_shelf_gives_the_catalogue_of_an_overlay_and_finds_it_by_its_hash() -> None:
    current = load(FILES)
    shelf = Catalogues(current, lambda _: None)
    own = pack(limits(row("GBW-D-1", high="1.5")))
    found = shelf.over(own)
    assert shelf.over("") is current
    assert shelf.over(own) is found
    assert shelf.of(found.hash) is found
    for number in range(20):
        shelf.over(pack(limits(row("GBW-D-1", high=f"1.{number + 10}"))))
    assert shelf.over(own) is not found  # only a few are kept in memory
    assert shelf.over(own).hash == found.hash
