"""A practice's own rows: another limit without a line of code, for its own exams that are opened afterwards."""

from pathlib import Path
from typing import Any

import pytest
import typer

from service.catalogue.files import pack, read_folder
from service.commands import catalogue
from service.commands.catalogue_show import lines
from service.exam.circumstances import Circumstances
from tests.builders import orders
from tests.builders.survey import mappings
from tests.whole.conftest import Open
from tests.whole.telling import Desk, Exam, Json, refusal, taken
from tests.whole.test_judging import adrenal, flag, kilograms, note, reason, stored

pytestmark = pytest.mark.sqlite_first

SHIPPED = read_folder()["limits.csv"].split("\n")
(MELIAN,) = [line for line in SHIPPED if line.startswith("ADL-D-10,")]


def own_rows(folder: Path, *, high: str = "7.0") -> Path:
    """A folder with one limit of the practice's own: Melian's for the left adrenal gland of 10 to 20 kg, raised."""
    folder.mkdir(exist_ok=True)
    changed = MELIAN.replace(",,6.4,,yes,", f",,{high},,yes,")
    assert changed != MELIAN
    (folder / "limits.csv").write_text(f"{SHIPPED[0]}\n{changed}\n", encoding="utf-8")
    return folder


def put(desk: Desk, folder: Path, *, dry_run: bool = False) -> None:
    """`sonoledger catalogue import`."""
    books = desk.instance.books
    catalogue.import_(books, mappings(), desk.slug, folder=folder, by="Dr I. Reader", dry_run=dry_run)


def weighed(desk: Desk) -> Exam:
    """An exam of a dog of 12 kg."""
    exam = desk.place()
    taken(desk.note(note(exam, "weight", **kilograms("12.0"))))
    return exam


def judged(desk: Desk, exam: Exam, value: str) -> Json:
    return stored(desk, adrenal(exam, value))


def test_a_practice_changes_a_limit_for_its_new_exams_alone(
    desk: Desk, open_desk: Open, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = weighed(desk)
    put(desk, own_rows(tmp_path / "rows"), dry_run=True)
    assert capsys.readouterr().out == 'limits.csv ADL-D-10: high "6.4" -> "7.0"\nnothing was written\n'
    assert flag(judged(desk, weighed(desk), "6.6")) == "H"
    put(desk, own_rows(tmp_path / "rows"))
    after = weighed(desk)
    assert flag(judged(desk, before, "6.6")) == "H"  # an exam keeps the rows it was opened with
    kept = judged(desk, after, "6.6")
    assert (flag(kept), str(kept["referenceRange"][0]["high"]["value"])) == ("N", "7.0")
    hashes = {desk.get(f"Task/{e.id}")["instantiatesCanonical"].partition("|")[2] for e in (before, after)}
    assert len(hashes) == 2
    other = open_desk()
    assert flag(judged(other, weighed(other), "6.6")) == "H"


def test_what_was_changed_by_whom_and_when_stays_on_record(
    desk: Desk, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    books = desk.instance.books
    put(desk, own_rows(tmp_path / "rows"))
    put(desk, own_rows(tmp_path / "rows"))  # the same again changes nothing and adds nothing
    assert "nothing changes" in capsys.readouterr().out
    catalogue.clear(books, mappings(), desk.slug, by="Dr S. Other", dry_run=False)
    capsys.readouterr()
    catalogue.log(books, desk.slug)
    first, change, second, undone = capsys.readouterr().out.splitlines()
    assert first.endswith(" by Dr I. Reader")
    assert change == '  limits.csv ADL-D-10: high "6.4" -> "7.0"'
    assert second.endswith(" by Dr S. Other: own rows taken away")
    assert undone == '  limits.csv ADL-D-10: high "7.0" -> "6.4"'
    assert catalogue.in_force(books, mappings(), desk.slug) is mappings()


def test_what_is_defined_is_what_the_practice_is_judged_by(desk: Desk, open_desk: Open, tmp_path: Path) -> None:
    put(desk, own_rows(tmp_path / "rows"))
    hash_ = desk.get(f"Task/{weighed(desk).id}")["instantiatesCanonical"].partition("|")[2]
    for one, high in ((desk, "7.0"), (open_desk(), "6.4")):
        limits = one.get("CodeSystem/limit")
        (words,) = [c["display"] for c in limits["concept"] if c["code"] == "ADL-D-10"]
        assert f"At most {high} mm" in words
        assert (limits["version"] == hash_) is (one is desk)
    assert {p["version"] for p in desk.search("PlanDefinition")} == {hash_}


def test_the_other_adrenal_table_asks_for_its_own_measurement(desk: Desk, tmp_path: Path) -> None:
    folder = tmp_path / "rows"
    folder.mkdir()
    (folder / "limit-choices.csv").write_text("choice,table\nadrenal-dog,soulsby-2015\n", encoding="utf-8")
    put(desk, folder)
    exam = weighed(desk)
    assert "measure:caudal-pole-thickness" in desk.owed(exam)["adrenal_left"]
    kept = stored(desk, exam.scanner.measured("adrenal_left", "caudal-pole-thickness", "6.9", plane="long"))
    assert flag(kept) == "H"
    assert "Soulsby 2015" in kept["referenceRange"][0]["text"]
    other = judged(desk, exam, "9")
    assert (flag(other), bool(reason(other))) == ("", True)


def test_rows_with_faults_are_refused_whole(desk: Desk, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = own_rows(tmp_path / "rows", high="six")
    with pytest.raises(typer.Exit):
        put(desk, folder)
    assert "sonoledger: limits.csv:2: high " in capsys.readouterr().err
    assert desk.instance.books.overlays(desk.slug) == ()


def test_rows_that_no_longer_fit_open_no_exam_and_are_told(desk: Desk) -> None:
    rows = pack({"limit-choices.csv": "choice,table\nadrenal-dog,nobody-1900\n"})  # as after a change of the catalogue
    desk.instance.books.add_overlay(desk.slug, by="Dr I. Reader", files=rows, difference="")
    told = [words for _, words in refusal(desk.send(orders.bundle(orders.patient())), 409)]
    assert any("limit-choices.csv:2" in words and "sonoledger catalogue import" in words for words in told), told
    with pytest.raises(typer.Exit):
        catalogue.all_fit(desk.instance.books, mappings())
    desk.instance.books.add_overlay(desk.slug, by="Dr I. Reader", files="", difference="")
    assert desk.place().id


def shown(structure: str, **known: Any) -> str:
    """What `sonoledger catalogue show` prints."""
    return "\n".join(lines(mappings(), structure, Circumstances("dog", **known)))


def test_the_catalogue_shows_what_is_asked_and_judged() -> None:
    from_12_kg = shown("adrenal_left", weight_kg=12)
    assert "must be measured: dorsoventral-thickness" in from_12_kg
    assert "judged by ADL-D-10 [table melian-2021] (plane long): At most 6.4 mm" in from_12_kg
    assert "shown only (flag-high-alternative) AD-D-S10" in from_12_kg
    assert "kept on record, not used AD-D-74" in from_12_kg
    assert "sources disagree, Adrenal, dog" in from_12_kg
    assert "The weight is not known; the limit depends on it." in shown("adrenal_left")
    assert "computed by KAO, kidney length / aortic diameter, of kidney_left.length" in shown("kidney_left")
    assert "a change below 20% may be the measuring alone; Günther 2014" in shown("jejunum")
