"""A finding in our own codes outside its vocabulary is refused with what can be said; a sender's word is kept."""

from typing import Any

import pytest

from service.basics.errors import RuleBroken
from service.fhir import uris
from tests.builders.survey import Practice, coded, finding, owed


@pytest.fixture
def practice(books: Any, organization: str) -> Practice:
    made = Practice(books, organization)
    made.place()
    return made


def test_a_value_that_the_attribute_lacks_names_those_it_has(practice: Practice) -> None:
    with pytest.raises(RuleBroken) as refused:
        practice.send(finding("spleen", "spleen.size.huge"), finding("spleen", "spleen.margin.smooth"))
    (fault,) = refused.value.faults
    assert fault.where.endswith("value.ofType(CodeableConcept)")
    assert fault.where.startswith("Bundle.entry[0]")
    assert "spleen.size.huge" in fault.text
    assert "spleen.size.large-marked (Markedly enlarged)" in fault.text
    assert practice.task("spleen")["businessStatus"]["coding"][0]["code"] == "not-yet"


def test_the_value_of_another_structure_is_none_of_this_one(practice: Practice) -> None:
    with pytest.raises(RuleBroken, match=r"spleen\.size\.normal \(Normal size\)"):
        practice.send(finding("spleen", "spleen.size.normal") | {"valueCodeableConcept": _word("liver.size.normal")})


def test_an_attribute_that_is_not_asked_names_those_that_are_and_all_come_at_once(practice: Practice) -> None:
    strange = finding("spleen", "spleen.size.normal") | {"code": coded(uris.ATTRIBUTE, "flow-direction")}
    with pytest.raises(RuleBroken) as refused:
        practice.send(strange, finding("liver_left", "liver.size.vast"))
    first, second = refused.value.faults
    assert first.where == "Bundle.entry[0].resource.code"
    assert '"flow-direction" is not asked' in first.text
    assert "echotexture (Echotexture)" in first.text
    assert "liver.size.vast" in second.text


def test_a_word_of_a_sender_is_kept_and_waits_for_a_person(practice: Practice) -> None:
    word = coded("https://scanner.example/words", "whopping")
    practice.send(finding("spleen", "spleen.size.normal") | {"valueCodeableConcept": word})
    assert "finding:size" in owed(practice.task("spleen"))


def test_what_is_withdrawn_may_say_what_it_likes(practice: Practice) -> None:
    (kept,) = practice.send(finding("spleen", "spleen.size.huge") | {"status": "entered-in-error"})
    assert practice.get(kept)["status"] == "entered-in-error"
    assert "finding:size" in owed(practice.task("spleen"))


def _word(code: str) -> dict[str, Any]:
    return coded(uris.FINDING, code)
