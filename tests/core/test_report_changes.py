"""What changed between two issues of a report is found and said in words."""

from collections.abc import Sequence
from dataclasses import replace

from service.exam import report
from service.exam.report import Edition, Line, Report, compose, lines
from tests.builders.report_facts import FACTS, LIVER, ROWS, SPLEEN, entry, measured, step

OLD = compose(FACTS, ROWS)


def changed(old: Report | Sequence[Line], new: Report | Sequence[Line]) -> list[str]:
    return report.changed(old, new, ROWS.phrases)


def test_a_report_issued_again_with_the_same_words_has_not_changed() -> None:
    again = replace(FACTS, issued="2026-12-01T08:00:00.000Z", edition=Edition("corrected", 2, "Reprint"))
    assert changed(OLD, compose(again, ROWS)) == []


def test_a_conclusion_changed_added_and_removed() -> None:
    one, two = FACTS.conclusions
    new = compose(replace(FACTS, conclusions=("Markedly enlarged spleen.", two)), ROWS)
    assert changed(OLD, new) == [f"Conclusion: was “{one}”, now “Markedly enlarged spleen.”"]
    assert changed(OLD, compose(replace(FACTS, conclusions=(one, two, "Node.")), ROWS)) == ["Conclusion: added “Node.”"]
    assert changed(OLD, compose(replace(FACTS, conclusions=(one,)), ROWS)) == [f"Conclusion: removed “{two}”"]


def test_a_measurement_corrected_in_its_last_digit_is_a_change() -> None:
    new = compose(replace(FACTS, evidence=(measured("Observation/s3", "21.4"),)), ROWS)
    (told,) = changed(OLD, new)
    assert told.startswith("Findings by station, Spleen: head, body, tail: was “")
    assert "21.40 mm" in told
    assert "now “" in told
    assert "21.4 mm" in told


def test_a_structure_that_turns_out_not_to_have_been_seen_is_a_change_in_findings_and_limits() -> None:
    unseen = step("liver_left", "Liver, left division", entry("disposition:not-seen", reason="gas"))
    told = changed(OLD, compose(replace(FACTS, steps=(unseen, SPLEEN)), ROWS))
    assert any(t.startswith("Findings by station, Liver, left division: was “It was seen.") for t in told)
    assert "Quality and limits, Looked for, not seen: added “Liver, left division. Reason: overlying gas.”" in told
    assert "Quality and limits: removed “Every structure asked for in this examination was seen.”" in told


def test_lines_read_back_from_an_issued_report_compare_like_the_report_itself() -> None:
    new = compose(replace(FACTS, steps=(LIVER,)), ROWS)
    assert changed(lines(OLD), new) == changed(OLD, new) != []
    assert changed([Line("A", "b", "c")], []) == ["A, b: removed “c”"]


def test_a_practice_calls_the_parts_of_a_report_what_it_likes() -> None:
    own = replace(ROWS, phrases={**ROWS.phrases, "label-scanned-by": "Sonographer", "label-issued": "Signed on"})
    first = compose(FACTS, own)
    assert {"Sonographer", "Signed on"} <= {one.label for one in lines(first)}
    again = compose(replace(FACTS, issued="2026-12-01T08:00:00.000Z"), own)
    assert report.changed(first, again, own.phrases) == [], "a date of issue is new in each, whatever it is called"
