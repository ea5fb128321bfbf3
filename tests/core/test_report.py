"""What a report says of an examination, and that it never says by silence."""

from dataclasses import replace
from decimal import Decimal

import pytest

from service.exam.evidence import Evidence, Sighting
from service.exam.report import Edition, Preparation, Report, ReportFacts, Section, compose
from tests.builders.report_facts import (
    BY,
    FACTS,
    LATER,
    LIVER,
    NODE,
    ROWS,
    SPLEEN,
    entry,
    measured,
    step,
    with_steps,
)


def section(report: Report, key: str) -> Section:
    return next(s for s in report.sections if s.key == key)


def told(facts: ReportFacts, key: str) -> str:
    """A section as one text."""
    return "\n".join(
        f"{s.label}: {s.lead} {s.text}".replace(":  ", ": ") for s in section(compose(facts, ROWS), key).statements
    )


def test_sections_stand_in_the_catalogues_order_and_empty_ones_are_left_out() -> None:
    assert [s.key for s in compose(FACTS, ROWS).sections] == [
        *("identity", "question", "preparation", "limits", "findings", "conclusion", "signature", "images")
    ]


def test_a_section_that_nobody_writes_is_refused() -> None:
    with pytest.raises(ValueError, match="horoscope"):
        compose(FACTS, replace(ROWS, sections=(*ROWS.sections, ("horoscope", "Horoscope"))))


def test_each_structure_has_a_statement_and_what_differs_comes_first() -> None:
    liver, spleen = section(compose(FACTS, ROWS), "findings").statements
    assert (liver.label, liver.kind) == ("Liver, left division", "expected")
    assert liver.text == "It was seen. It is of normal size and its echotexture is homogeneous."
    assert (spleen.kind, spleen.station) == ("noted", "Station 3")
    assert spleen.lead == "It is mildly enlarged."
    assert spleen.text == "It was seen in the long and short axes. Otherwise its echotexture is homogeneous."


@pytest.mark.parametrize(
    ("amount", "unit", "words"),
    [("0.40", "mm", "0.40 mm"), ("21.400", "mm", "21.400 mm"), ("0.68", "1", "0.68"), ("3", "{score}", "3"),
     ("1E+2", "mm", "100 mm"), ("180", "/min", "180 per minute"), ("5.5E-30", "mm", "5.5E-30 mm")],
)  # fmt: skip
def test_every_digit_stands_as_it_was_sent(amount: str, unit: str, words: str) -> None:
    facts = with_steps(SPLEEN, evidence=(measured("Observation/s3", amount, unit=unit),))
    (one,) = section(compose(facts, ROWS), "findings").statements[0].measurements
    assert (one.title, one.value, one.plane) == ("Thickness", words, "short axis")
    assert one.limit == "not compared with a limit"


def test_a_measurement_whose_value_is_missing_is_told_all_the_same() -> None:
    (one,) = section(compose(with_steps(SPLEEN), ROWS), "findings").statements[0].measurements
    assert one.value == "recorded without a value"


def test_several_measurements_of_one_resource_are_each_told() -> None:
    """An Observation with components rests several entries on one source; repeated readings share even the item."""
    source = "Observation/many"
    sent = tuple(
        Evidence(Sighting(source, "observation", quantity=Decimal(amount), unit="mm"), "spleen", (item,))
        for item, amount in (("measure:thickness", "20.0"), ("measure:length", "90"), ("measure:thickness", "21.0"))
    )
    both = step(
        "spleen", "Spleen", entry("measure:thickness", source=source), entry("measure:length", source=source), station=3
    )
    (statement,) = section(compose(with_steps(both, evidence=sent), ROWS), "findings").statements
    assert [(m.title, m.value) for m in statement.measurements] == [
        ("Thickness", "20.0 mm"),
        ("Thickness", "21.0 mm"),
        ("length", "90 mm"),
    ]


def test_what_was_met_besides_the_order_is_told_and_not_called_unexamined() -> None:
    mass = Evidence(Sighting("Observation/x", "observation"), "liver_left", ("finding:size",), value="large-mild")
    limited = replace(FACTS.service, scope="limited")
    facts = replace(with_steps(SPLEEN, evidence=(mass,)), service=limited, out_of_scope=("liver_left", "node"))
    findings = section(compose(facts, ROWS), "findings").statements
    assert [(s.label, s.station, s.lead) for s in findings][-1] == (
        "Liver left",
        "Recorded besides what was asked for",
        "It is mildly enlarged.",
    )
    assert "Outside the order, not examined: Node." in told(facts, "limits")


def test_the_words_of_a_reason_are_not_said_twice() -> None:
    source = "Observation/d"
    said = Evidence(Sighting(source, "observation", text="bloated"), "spleen", ("disposition:not-seen",))
    twice = step("spleen", "Spleen", entry("disposition:not-seen", source=source, reason="gas", note="bloated"))
    assert told(with_steps(twice, evidence=(said,)), "findings").count("bloated") == 1
    same = step("spleen", "Spleen", entry("disposition:not-seen", reason="gas", note="Overlying gas"))
    assert told(with_steps(same), "findings").lower().count("overlying gas") == 1


def test_free_words_beside_a_code_are_told() -> None:
    source = "Observation/f"
    said = Evidence(
        Sighting(source, "observation", text="in the tail"), "spleen", ("finding:size",), value="large-mild"
    )
    spleen = step("spleen", "Spleen", entry("finding:size", source=source, value="large-mild"))
    assert "Remark: In the tail." in told(with_steps(spleen, evidence=(said,)), "findings")


def test_an_implausible_value_that_was_confirmed_says_so() -> None:
    facts = with_steps(SPLEEN, evidence=(measured("Observation/s3", "120", confirmed=True),))
    (one,) = section(compose(facts, ROWS), "findings").statements[0].measurements
    assert one.value == "120 mm (outside the plausible range, confirmed by a person)"


def test_a_structure_looked_for_and_one_not_examined_are_told_apart() -> None:
    gas = step("liver_left", "Liver, left division", entry("disposition:not-seen", reason="gas", note="bloated."))
    stopped = step("spleen", "Spleen", entry("disposition:not-seen", reason="time-limited"), station=3)
    facts = with_steps(gas, stopped)
    assert "Liver, left division: It was looked for and not seen: overlying gas (bloated)." in told(facts, "findings")
    assert "Spleen: It was not examined: stopped for patient safety or emergency." in told(facts, "findings")
    limits = told(facts, "limits")
    assert "Looked for, not seen: Liver, left division. Reason: overlying gas (bloated)." in limits
    assert "Not examined: Spleen. Reason: stopped for patient safety or emergency." in limits
    assert "Every structure" not in limits
    assert compose(facts, ROWS).brief == ("Not examined: Spleen.", "Looked for, not seen: Liver, left division.")


def test_an_owed_step_on_which_nothing_was_entered_is_never_normal() -> None:
    facts = with_steps(step("spleen", "Spleen"))
    assert "Spleen: Nothing was recorded: it was not examined." in told(facts, "findings")
    assert "Not examined: Spleen. Reason: nothing was recorded." in told(facts, "limits")
    assert compose(facts, ROWS).brief == ("Not examined: Spleen.",)


def test_a_preliminary_report_says_what_was_not_examined_so_far() -> None:
    facts = replace(with_steps(step("spleen", "Spleen")), edition=Edition("preliminary"))
    report = compose(facts, ROWS)
    assert report.title.startswith("Preliminary report: ")
    assert report.brief == ("Not examined so far: Spleen.",)
    assert "Spleen: Nothing is recorded so far." in told(facts, "findings")
    assert "Not examined so far: Spleen. Reason: nothing was recorded." in told(facts, "limits")


def test_a_step_put_off_and_forgotten_was_not_examined() -> None:
    facts = with_steps(step("spleen", "Spleen", entry("disposition:deferred", note="left flank")))
    assert "not looked at again: not examined" in told(facts, "findings")
    assert "Not examined: Spleen. Reason: put off and not looked at again." in told(facts, "limits")


def test_an_optional_structure_without_a_word_is_named_as_such() -> None:
    assert "Optional, nothing recorded and nothing stated: Splenic lymph nodes." in told(FACTS, "limits")
    assert "Splenic lymph nodes" not in told(FACTS, "findings")


def test_a_structure_seen_in_part_is_never_called_as_expected() -> None:
    part = step(
        "spleen",
        "Spleen",
        entry("finding:size", source="Observation/1", value="normal"),
        entry("disposition:seen-part", reason="gas"),
        entry("excused:finding:flow", source="Observation/2", reason="gas"),
        entry("finding:echotexture", source="Observation/3", value="not-assessed"),
    )
    report = compose(with_steps(part), ROWS)
    (statement,) = section(report, "findings").statements
    assert statement.lead == "It was seen in part only: overlying gas."
    assert statement.text == (
        "No abnormality was seen in the part that was seen: it is of normal size. "
        "Echotexture and Doppler flow were not assessed."
    )
    assert statement.kind == "part"
    assert "C08" in dict(report.cautions)
    assert report.brief == ("Seen in part only: Spleen.",)
    assert "Every structure" not in told(with_steps(part), "limits")
    assert "Not recorded" not in told(with_steps(part), "limits")


def test_absences_are_stated_and_the_unexplained_one_is_not_neutral() -> None:
    surgical = step("spleen", "Spleen", entry("disposition:absent-surgical", note="splenectomy, clinic letter of 2024"))
    missing = step("liver_left", "Left kidney", entry("disposition:absent-unexplained"))
    facts = with_steps(surgical, missing)
    assert "Spleen: It is absent after surgery: splenectomy, clinic letter of 2024." in told(facts, "findings")
    assert "Left kidney: It was not found, and no operation on record explains it." in told(facts, "findings")
    assert "Not found, without an operation on record: Left kidney." in told(facts, "limits")
    assert compose(facts, ROWS).brief == ("Not found, without an operation on record: Left kidney.",)


def test_a_second_look_prevails_and_the_first_one_is_still_told() -> None:
    again = step(
        "spleen",
        "Spleen",
        entry("disposition:not-seen", reason="gas"),
        entry("plane:long", at=LATER, window="left intercostal"),
        entry("finding:size", source="Observation/1", at=LATER, value="normal"),
    )
    facts = with_steps(again)
    assert (
        "It was not seen at first (overlying gas), then seen at a second look. "
        "It was seen in the long axis, window: left intercostal." in told(facts, "findings")
    )
    assert "Every structure asked for in this examination was seen." in told(facts, "limits")


def test_a_step_settled_elsewhere_names_the_step() -> None:
    first = step("papilla", "Papilla", entry("settled-elsewhere:papilla_again"))
    second = step("papilla_again", "Papilla, second look", entry("disposition:seen"), station=7)
    assert "Papilla: It was seen at another step: papilla, second look." in told(with_steps(first, second), "findings")


def test_what_was_taken_back_is_not_told() -> None:
    facts = with_steps(step("spleen", "Spleen", entry("retracted:finding:size", source="Observation/1", value="large")))
    assert "Nothing was recorded" in told(facts, "findings")


def test_two_different_values_of_one_attribute_are_both_told() -> None:
    both = step(
        "spleen",
        "Spleen",
        entry("finding:echotexture", source="Observation/1", value="homogeneous"),
        entry("finding:echotexture", source="Observation/2", value="coarse"),
    )
    assert "Its echotexture is homogeneous; stated besides: its echotexture is coarse." in told(
        with_steps(both), "findings"
    )


def test_a_value_that_is_neither_default_nor_graded_is_only_stated() -> None:
    stent = step("spleen", "Spleen", entry("finding:content", source="Observation/1", value="stent"))
    odd = step("liver_left", "Liver", entry("finding:content", source="Observation/2", value="unheard-of"))
    told_ = told(with_steps(stent, odd), "findings")
    assert "There is a stent in place." in told_
    assert "Content: unheard of." in told_
    assert "therwise" not in told_


def test_entries_in_unknown_codes_are_named_where_they_belong_and_counted_where_they_do_not() -> None:
    unread = step("spleen", "Spleen", entry("disposition:seen"), entry("unread:value", source="Observation/9"))
    facts = replace(with_steps(unread), unmapped=2)
    assert "1 entry sent in codes not understood here is kept as sent." in told(facts, "findings")
    assert "Sent in codes not understood here: Spleen." in told(facts, "limits")
    assert "2 entries sent with codes that lead to no structure of the survey are kept" in told(facts, "limits")


def test_excused_items_are_named_with_their_reason() -> None:
    excused = step(
        "spleen",
        "Spleen",
        entry("disposition:seen"),
        entry("excused:still", reason="kept-on-scanner"),
        entry("excused:measure:thickness", reason="gas"),
        entry("excused:plane:short", reason="gas"),
    )
    limits = told(with_steps(excused), "limits")
    assert "Not recorded: still image (spleen). Reason: image or clip kept on the scanner only." in limits
    assert "Not recorded: thickness (spleen); view in short axis (spleen). Reason: overlying gas." in limits


def test_the_rest_left_for_one_reason_is_said_first() -> None:
    left = step("spleen", "Spleen", entry("disposition:not-seen", reason="time-limited"))
    facts = replace(with_steps(left), remaining="time-limited", remaining_detail="collapsed")
    first = section(compose(facts, ROWS), "limits").statements[0]
    assert first.text == (
        "The examination was ended before the survey was complete: stopped for patient safety or emergency (collapsed)."
    )


def test_a_limited_order_says_what_it_left_out() -> None:
    limited = replace(FACTS, service=replace(FACTS.service, scope="limited"), out_of_scope=("node",))
    report = compose(limited, ROWS)
    assert "Outside the order, not examined: Node." in told(limited, "limits")
    assert report.brief[0] == "Limited examination: only what was ordered was examined."
    assert "C07" in dict(report.cautions)
    assert "not named here was not examined" in told(replace(limited, out_of_scope=()), "limits")


def test_many_unseen_structures_are_counted_in_brief_and_named_below() -> None:
    steps = [step(f"s{n}", f"Structure {n}", station=n) for n in range(1, 10)]
    facts = with_steps(*steps)
    assert compose(facts, ROWS).brief[0].startswith("Not examined: 9 structures, named under the limits")
    assert all(f"Structure {n}" in told(facts, "limits") for n in range(1, 10))


def test_what_nobody_stated_is_said_to_be_not_stated() -> None:
    bare = ReportFacts(replace(FACTS.animal, name="", identifiers=(), born=None, weight_kg=None, breed="", sex="",
                               neutered=None), FACTS.service, "e", "o", FACTS.started, FACTS.issued, ())  # fmt: skip
    identity = told(bare, "identity")
    for label in ("Practice", "Animal", "Identifier", "Owner", "Breed", "Age", "Weight", "Order number"):
        assert f"{label}: not stated" in identity
    assert "Sex: sex not known, neuter status not known" in identity
    assert "Question: No question was stated with the order." in told(bare, "question")
    assert "Fasting: Not stated." in told(bare, "preparation")
    assert "Sedation: Not stated." in told(bare, "preparation")
    assert "No conclusion was stated." in told(bare, "conclusion")
    assert "Scanned by: not stated" in told(bare, "signature")


def test_identity_in_words() -> None:
    identity = told(FACTS, "identity")
    assert "Age: 6 years 7 months (born 26 March 2020)" in identity
    assert "Weight: 12.40 kg (weighed 20 November 2026)" in identity
    assert "Examined: 25 November 2026, 13:04 (UTC)" in identity


def test_a_birth_after_the_examination_is_not_turned_into_an_age() -> None:
    young = replace(FACTS, animal=replace(FACTS.animal, born=FACTS.animal.born.replace(year=2027)))  # type: ignore[union-attr]
    assert "Age: born 26 March 2027, after the examination" in told(young, "identity")


@pytest.mark.parametrize(
    ("facts", "caution", "applies"),
    [
        (FACTS, "C01", True),
        (FACTS, "C05", False),
        (replace(FACTS, preparation=Preparation(sedation="butorphanol")), "C05", True),
        (replace(FACTS, preparation=Preparation(fasting="NF")), "C06", True),
        (FACTS, "C06", False),
        (FACTS, "C07", False),
        (with_steps(step("spleen", "Spleen")), "C07", True),
        (with_steps(step("diaphragm", "Diaphragm", entry("finding:mirror-image", value="absent"))), "C09", True),
        (with_steps(step("peritoneum", "Peritoneum", entry("measure:fluid-score"))), "C10", True),
        (with_steps(step("kidney_left", "Kidney", entry("finding:pelvis", value="mild"))), "C11", False),
        (
            replace(
                with_steps(step("kidney_left", "Kidney", entry("finding:pelvis", value="mild"))),
                animal=replace(FACTS.animal, species="cat"),
            ),
            "C11",
            True,
        ),
        (with_steps(SPLEEN, evidence=(measured("Observation/s3", "1", doppler=True),)), "C12", True),
        (replace(FACTS, edition=Edition("amended", 2)), "C17", True),
        (FACTS, "C17", False),
        (with_steps(step("pregnancy", "Pregnancy", entry("finding:viability"))), "C21", True),
        (FACTS, "C23", True),
        (with_steps(LIVER), "C23", False),
        (FACTS, "C24", True),
        (with_steps(SPLEEN), "C24", False),
    ],
)
def test_cautions_that_apply_and_none_besides(facts: ReportFacts, caution: str, *, applies: bool) -> None:
    assert (caution in dict(compose(facts, ROWS).cautions)) is applies


def test_conclusions_are_numbered_in_the_order_given_and_keep_their_line_breaks() -> None:
    report = compose(replace(FACTS, conclusions=("One\r\nmore.", " ", "Two.")), ROWS)
    conclusion = section(report, "conclusion")
    assert conclusion.numbered
    assert [s.text for s in conclusion.statements] == ["One\nmore.", "Two."]
    assert report.conclusions == ("One\nmore.", "Two.")


def test_marks_that_reorder_text_and_control_characters_are_taken_out() -> None:
    report = compose(replace(FACTS, conclusions=("Mass of \u202e20\u202c mm\x00\x07.",)), ROWS)
    assert report.conclusions == ("Mass of 20 mm.",)


@pytest.mark.parametrize(
    ("status", "first"),
    [
        ("preliminary", "This is not the final report. It may change."),
        ("partial", "This is not the final report. It may change."),
        ("entered-in-error", "This report was withdrawn: it was entered in error. Do not use it."),
    ],
)
def test_a_report_that_must_not_be_taken_as_final_says_so_first(status: str, first: str) -> None:
    assert compose(replace(FACTS, edition=Edition(status)), ROWS).notices[0] == first


def test_an_amended_report_names_what_it_replaces_why_and_by_whom() -> None:
    edition = Edition(
        "amended", 2, "Second reading", "Dr J. Reader", ("Conclusion: added “Node.”",), ("B. Referrer",), LATER
    )
    assert compose(replace(FACTS, edition=edition), ROWS).notices == (
        "Version 2 of this report. It replaces version 1, issued 25 November 2026, 13:20 (UTC).",
        "Amended: the interpretation changed.",
        "What changed: Conclusion: added “Node.”",
        "Reason: Second reading.",
        "Changed by: Dr J. Reader.",
        "Told: B. Referrer.",
    )
    assert compose(FACTS, ROWS).notices == ()


def test_images_are_counted_once_each() -> None:
    stills = (
        entry("still", source="Media/1"),
        entry("still", source="Media/1"),
        entry("still", source="S/1", value="4"),
    )
    facts = with_steps(step("spleen", "Spleen", *stills, entry("clip", source="Media/2")), NODE)
    assert "4 still images and 1 clip are recorded" in told(facts, "images")
    assert "0 still images and 9 clips are" in told(replace(facts, stills=0, clips=9), "images")


def test_composing_twice_gives_the_same_report() -> None:
    assert compose(FACTS, ROWS) == compose(FACTS, ROWS)
    assert FACTS.evidence[0].sighting.quantity == Decimal("21.40")
    assert BY not in {s.text for s in section(compose(FACTS, ROWS), "signature").statements}


def test_what_was_noted_of_the_whole_exam_is_told_and_the_rest_left_out() -> None:
    noted = {"recumbency": "left-lateral", "probe": "Linear probe, 12 MHz", "weight": "4 kg"}
    said = told(replace(FACTS, preparation=Preparation(noted=noted)), "preparation")
    assert "Recumbency: Left lateral." in said
    assert "Probe: Linear probe, 12 MHz." in said
    assert "Hair clipped" not in said
    assert "4 kg" not in said
