"""What a person should think of stands on the Task of the step, and goes with what called for it."""

from typing import Any

import pytest

from tests.builders.survey import Practice, business, finding, owed


@pytest.fixture
def practice(books: Any, organization: str) -> Practice:
    made = Practice(books, organization)
    made.place()
    return made


def told(practice: Practice, step: str) -> str:
    return " ".join(note["text"] for note in practice.task(step).get("note", []))


def test_an_absence_that_nothing_explains_is_not_neutral(practice: Practice) -> None:
    practice.settle("spleen", disposition="absent-unexplained", detail="looked from three windows")
    task = practice.task("spleen")
    assert business(task) == ("completed", "absent-unexplained")
    assert owed(task) == []
    assert "torsion, rupture" in told(practice, "spleen")
    practice.settle("spleen", retract=True)
    assert told(practice, "spleen") == ""


def test_a_wide_duct_asks_for_the_papilla(practice: Practice) -> None:
    practice.send(finding("common_bile_duct", "common_bile_duct.visibility.dilated"))
    assert "duodenal papilla" in told(practice, "common_bile_duct")


def test_sludge_that_moves_is_mild_and_content_that_stays_is_not(practice: Practice) -> None:
    """Besso 2000: loss of gravity dependence tells a mucocele from sludge."""
    layered = finding("gallbladder", "gallbladder.layering.layered")
    source, _ = practice.send(finding("gallbladder", "gallbladder.mobility.mobile"), layered)
    assert "common, mild finding" in told(practice, "gallbladder")
    practice.change(source, status="entered-in-error")
    practice.send(finding("gallbladder", "gallbladder.mobility.immobile"))
    assert "is not sludge" in told(practice, "gallbladder")
