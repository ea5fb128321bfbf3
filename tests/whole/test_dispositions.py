"""How steps end that no image can end: explicit acts over HTTP, each with its reason, each to be taken back."""

from typing import Any

import pytest

from service.fhir import uris
from tests.builders.survey import entered
from tests.whole.telling import Desk, coded, decoded, refusal, taken

pytestmark = pytest.mark.sqlite_first


def stands(desk: Desk, exam: Any, step: str) -> tuple[str, str]:
    task = desk.steps(exam)[step]
    return task["status"], coded(task["businessStatus"])


@pytest.mark.parametrize(
    ("step", "said", "business"),
    [
        ("spleen", {"disposition": "not-seen", "reason": "gas"}, "not-seen"),
        ("spleen", {"disposition": "seen-part", "reason": "gas"}, "seen-part"),
        (
            "spleen",
            {"disposition": "absent-surgical", "operation": "splenectomy", "detail": "record of 2024-03-01"},
            "absent-surgical",
        ),
        ("spleen", {"disposition": "absent-unexplained", "detail": "looked for from both sides"}, "absent-unexplained"),
    ],
)
def test_a_step_ends_with_a_disposition_and_says_so_twice_without_effect(
    desk: Desk, step: str, said: dict[str, str], business: str
) -> None:
    exam = desk.place()
    for _ in range(2):
        task = decoded(taken(desk.settle(exam, step, **said)))
        assert (task["status"], coded(task["businessStatus"])) == ("completed", business)
    assert entered(task).count(f"disposition:{business}") == 1
    assert step not in desk.owed(exam)


def test_not_seen_is_written_down_as_an_observation_with_its_reason(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.settle(exam, "pancreas_left", disposition="not-seen", reason="gas"))
    (written,) = desk.search("Observation", **{"based-on": f"ServiceRequest/{exam.order}"})
    absent = {(c["system"], c["code"]) for c in written["dataAbsentReason"]["coding"]}
    assert (uris.REASON, "gas") in absent
    assert written["status"] == "preliminary"


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({}, "disposition"),
        ({"disposition": "not-seen"}, "reason"),
        ({"disposition": "not-seen", "reason": "because"}, "gas"),
        ({"disposition": "not-seen", "reason": "not-examined"}, "gas"),  # a reason that would hide what is owed
        ({"disposition": "gone"}, "absent-surgical"),
        ({"disposition": "absent-surgical"}, "operation"),
        ({"disposition": "deferred"}, "window"),
        ({"disposition": "not-seen", "reason": "wound-dressing"}, "detail"),
        ({"item": "clip", "reason": "boredom"}, "kept-on-scanner"),
    ],
)
def test_what_is_no_disposition_is_refused_in_words(desk: Desk, said: dict[str, str], words: str) -> None:
    exam = desk.place()
    before = desk.steps(exam)["spleen"]
    assert any(words in text for _, text in refusal(desk.settle(exam, "spleen", **said), 422))
    assert desk.steps(exam)["spleen"] == before


def test_a_parameter_that_nobody_knows_is_refused(desk: Desk) -> None:
    exam = desk.place()
    issues = refusal(desk.settle(exam, "spleen", disposition="seen", mood="good", reasons="gas"), 400)
    assert {"mood", "reasons"} == {where.partition("='")[2].rstrip("')") for where, _ in issues}


def test_seen_as_expected_fills_only_what_has_one_expected_value(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.settle(exam, "urinary_bladder", disposition="seen"))
    left = desk.owed(exam)["urinary_bladder"]
    assert {"plane:long", "plane:short", "still"} <= set(left)  # words are no images
    assert {i for i in left if i.startswith("finding:")} == {"finding:fill"}  # only a person can say
    written = desk.search("Observation", **{"based-on": f"ServiceRequest/{exam.order}"})
    assert written
    assert all("valueCodeableConcept" in o for o in written)


def test_all_as_expected_at_a_station_is_one_act_that_can_be_taken_back(desk: Desk) -> None:
    exam = desk.place()
    abnormal = exam.scanner.found("spleen", "size", "large-moderate")
    taken(desk.note(abnormal))
    before = desk.owed(exam)
    taken(desk.settle(exam, "", station=3))
    steps = desk.steps(exam)
    assert [e for e in entered(steps["spleen"]) if e == "finding:size"] == ["finding:size"]  # never one already noted
    assert "disposition:seen" in entered(steps["spleen"])
    assert "disposition:seen" not in entered(steps["kidney_left"])
    taken(desk.settle(exam, "", station=3, retract=True))
    assert desk.owed(exam) == before
    assert "retracted:disposition:seen" in entered(desk.steps(exam)["spleen"])
    refusal(desk.settle(exam, "", station=3, reason="gas", disposition="not-seen"), 400)
    refusal(desk.settle(exam, ""), 400)


def test_a_wrong_tap_is_taken_back_and_the_history_stays(desk: Desk) -> None:
    exam = desk.place()
    before = desk.owed(exam)
    taken(desk.settle(exam, "spleen", disposition="not-seen", reason="gas"))
    taken(desk.settle(exam, "spleen", retract=True))
    assert stands(desk, exam, "spleen")[0] == "ready"
    assert desk.owed(exam) == before
    task = desk.steps(exam)["spleen"]
    assert "retracted:disposition:not-seen" in entered(task)
    history = decoded(desk.http.get(f"Task/{task['id']}/_history"))
    assert [coded(e["resource"]["businessStatus"]) for e in history["entry"]][:2] == ["not-yet", "not-seen"]
    (written,) = desk.search("Observation", **{"based-on": f"ServiceRequest/{exam.order}"})
    assert written["status"] == "entered-in-error"


def test_one_item_is_excused_with_a_reason(desk: Desk) -> None:
    exam = desk.place()
    assert "still" in desk.owed(exam)["gallbladder"]
    taken(desk.settle(exam, "gallbladder", item="still", reason="kept-on-scanner"))
    assert "still" not in desk.owed(exam)["gallbladder"]
    assert "plane:long" in desk.owed(exam)["gallbladder"]
    taken(desk.settle(exam, "gallbladder", item="still", retract=True))
    assert "still" in desk.owed(exam)["gallbladder"]


def test_a_structure_that_was_measured_is_not_absent(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.note(exam.scanner.measured("spleen", "thickness", "15.0")))
    refusal(desk.settle(exam, "spleen", disposition="not-seen", reason="gas"), 409)
    taken(desk.settle(exam, "spleen", disposition="seen-part", reason="gas"))


def test_a_practice_row_says_whether_images_are_owed(open_desk: Any) -> None:
    desk = open_desk({"stills": False, "clips": False})
    exam = desk.place()
    items = {item for items in desk.owed(exam).values() for item in items}
    assert not {"still", "clip"} & items
    assert "plane:long" in items


def test_nobody_else_reaches_the_step(desk: Desk, open_desk: Any) -> None:
    exam = desk.place()
    task = desk.steps(exam)["spleen"]["id"]
    stranger = open_desk()
    for target in (task, exam.id, "unknown"):
        refusal(stranger.operate(target, "settle", disposition="seen"), 404)
        refusal(stranger.operate(target, "finish", interpreter="x", conclusion="y"), 404)
        assert stranger.http.get(f"Task/{target}").status_code == 404
