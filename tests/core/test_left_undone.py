"""What is left at finish was not looked for, whatever the reason; it is never told as sought and not seen."""

from typing import Any

from service.actions.finish_exam import finish
from service.exam.entries import LEFT, live
from service.fhir.reading.task import read_step
from tests.builders.survey import Practice, mappings


def test_the_rest_of_an_exam_is_not_examined(books: Any, organization: str) -> None:
    practice = Practice(books, organization)
    practice.place(species="cat", sex="female")
    said = (("interpreter", "Dr Quince"), ("conclusion", "Stopped."), ("remaining", "compliance"))
    parameters = {"resourceType": "Parameters", "parameter": [{"name": n, "valueString": t} for n, t in said]}
    answer = finish(practice.house, practice.caller, practice.exam, parameters)
    report = practice.get(next(p["valueReference"]["reference"] for p in answer["parameter"] if p["name"] == "report"))
    assert "Looked for, not seen" not in report["text"]["div"]
    assert "ot examined" in report["text"]["div"]
    step = read_step(practice.task("spleen"), mappings().protocols["cat"])
    entry = next(e for e in live(step) if e.item == "disposition:not-seen")
    assert entry.act.startswith(LEFT)
    codes = [c["code"] for c in practice.get(entry.source)["dataAbsentReason"]["coding"]]
    assert codes == ["not-performed", "compliance"]
