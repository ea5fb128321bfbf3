"""Measurements over HTTP: stored with a verdict, judged anew when what it hangs on changes, a sender's own kept."""

from typing import Any

import pytest

from service.fhir import exact, uris
from tests.builders import orders
from tests.builders.orders import concept, entry, transaction
from tests.whole.telling import Desk, Exam, Json, decoded, found, references, taken

pytestmark = pytest.mark.sqlite_first

LONG = {"url": uris.X_PLANE, "valueCodeableConcept": concept(uris.PLANE, "long")}


def stored(desk: Desk, resource: Json) -> Json:
    """What the service keeps of a measurement that was posted alone."""
    return decoded(taken(desk.send(resource)))


def note(exam: Exam, code: str, **value: Any) -> Json:
    """A note about the animal or its preparation."""
    return exam.scanner.about(
        {
            "resourceType": "Observation",
            "status": "final",
            "code": concept(uris.NOTE, code),
            "effectiveDateTime": exam.scanner.at,
            **value,
        }
    )


def kilograms(value: str, code: str = "kg") -> Json:
    """A weight."""
    return {"valueQuantity": {"value": exact.decode(value.encode()), "system": uris.UCUM, "code": code, "unit": code}}


def adrenal(exam: Exam, value: str, **more: Any) -> Json:
    """The left adrenal gland's thickness in the long axis."""
    return {**exam.scanner.measured("adrenal_left", "dorsoventral-thickness", value, plane="long"), **more}


def flag(resource: Json) -> str:
    """H, L, N or nothing."""
    said = resource.get("interpretation", [])
    assert len(said) <= 1
    return str(said[0]["coding"][0]["code"]) if said else ""


def reason(resource: Json) -> str:
    """Why there is no flag."""
    said = [e["valueString"] for e in resource.get("extension", []) if e["url"] == uris.NOT_JUDGED]
    assert len(said) <= 1
    return said[0] if said else ""


def now(desk: Desk, resource: Json) -> Json:
    """The Observation as it stands."""
    return desk.get(f"Observation/{resource['id']}")


def test_a_measurement_is_stored_with_its_verdict_and_the_one_range(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.note(note(exam, "weight", **kilograms("12.0"))))
    kept = stored(desk, adrenal(exam, "6.6"))
    assert flag(kept) == "H"  # Melian 2021: 6.4 mm over 10 to 20 kg
    (range_,) = kept["referenceRange"]
    assert str(range_["high"]["value"]) == "6.4"
    assert range_["high"]["code"] == "mm"
    assert "low" not in range_
    assert "Melian 2021" in range_["text"]
    assert [a["text"] for a in range_["appliesTo"]] == ["dog", ">10 kg to 20 kg"]
    assert kept["meta"]["versionId"] == "1"
    assert now(desk, kept) == kept


def test_a_flag_that_is_a_hint_only_says_so(desk: Desk) -> None:
    exam = desk.place(species="cat")
    told = []
    for value in ("3.9", "4.5", "5.5"):  # Leveille 1996: up to 4 mm, grey to 5 mm
        kept = stored(desk, exam.scanner.measured("common_bile_duct", "diameter-at-porta-hepatis", value))
        told.append((flag(kept), kept["interpretation"][0].get("text")))
    assert told == [("N", None), ("H", "High, a hint only"), ("H", None)]


def test_what_is_not_judged_says_why(desk: Desk) -> None:
    exam = desk.place()
    kept = stored(desk, adrenal(exam, "6.6"))
    assert (flag(kept), "referenceRange" in kept) == ("", False)
    assert reason(kept) == "The weight is not known; the limit depends on it."


def test_it_is_judged_anew_when_the_weight_comes_and_when_it_is_corrected_or_withdrawn(desk: Desk) -> None:
    exam = desk.place()
    kept = stored(desk, adrenal(exam, "6.6"))
    weight = stored(desk, note(exam, "weight", **kilograms("12.0")))
    again = now(desk, kept)
    assert (flag(again), reason(again), again["meta"]["versionId"]) == ("H", "", "2")
    heavier = {**weight, **kilograms("25.0")}
    taken(desk.http.put(f"Observation/{weight['id']}", content=exact.encode(heavier), headers={"If-Match": 'W/"1"'}))
    assert (flag(now(desk, kept)), now(desk, kept)["meta"]["versionId"]) == ("N", "3")
    gone = {**heavier, "status": "entered-in-error"}
    taken(desk.http.put(f"Observation/{weight['id']}", content=exact.encode(gone), headers={"If-Match": 'W/"2"'}))
    assert (flag(now(desk, kept)), bool(reason(now(desk, kept)))) == ("", True)


def test_what_says_nothing_new_writes_no_new_version(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.note(note(exam, "weight", **kilograms("12.0"))))
    kept = stored(desk, adrenal(exam, "6.6"))
    taken(desk.note(note(exam, "sedation", valueString="none"), exam.scanner.shown("spleen", "long")))
    assert now(desk, kept)["meta"]["versionId"] == "1"


def test_all_in_one_transaction_in_any_order_come_to_the_same(desk: Desk) -> None:
    exam = desk.place()
    ones = [adrenal(exam, "6.6"), note(exam, "weight", **kilograms("12.0"))]
    made = references(desk.send(transaction(entry(r) for r in ones)))
    assert made
    (kept,) = [o for o in desk.search("Observation") if o["code"]["coding"][0]["code"] == "dorsoventral-thickness"]
    assert (flag(kept), kept["meta"]["versionId"]) == ("H", "1")


def test_fasting_and_sedation_decide_what_is_judged(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.note(note(exam, "weight", **kilograms("12.0"))))
    wall = stored(desk, exam.scanner.measured("gallbladder", "wall-thickness", "1.31", plane="short"))
    index = stored(desk, exam.scanner.measured("kidney_left", "resistive-index", "0.73", unit="1"))
    assert "fasted is not recorded" in reason(wall)
    assert "sedated is not recorded" in reason(index)
    taken(desk.note(note(exam, "fasting", valueBoolean=True), note(exam, "sedation", valueString="none")))
    assert (flag(now(desk, wall)), flag(now(desk, index))) == ("H", "H")
    taken(
        desk.note(
            note(exam, "sedation", valueString="given, invented protocol", effectiveDateTime="2026-11-25T10:30:00Z")
        )
    )
    assert (flag(now(desk, index)), "unsedated" in reason(now(desk, index))) == ("", True)


def test_a_corrected_day_of_birth_judges_anew(desk: Desk) -> None:
    exam = desk.place(orders.bundle(orders.patient(birthDate="2026-09")))
    taken(desk.note(note(exam, "weight", **kilograms("12.0"))))
    ratio = stored(desk, exam.scanner.measured("portal_vein", "aorta-ratio", "0.6", unit="1"))
    assert "under 7 months" in reason(ratio)
    animal = desk.get(f"Patient/{exam.animal}")
    version = animal["meta"]["versionId"]
    older = exact.encode({**animal, "birthDate": "2019"})
    taken(desk.http.put(f"Patient/{exam.animal}", content=older, headers={"If-Match": f'W/"{version}"'}))
    assert (flag(now(desk, ratio)), reason(now(desk, ratio))) == ("L", "")


SENT = {
    "interpretation": [{"coding": [{"system": uris.INTERPRETATION, "code": "N"}], "text": "looked fine"}],
    "referenceRange": [{"low": {"value": 1, "unit": "mm"}, "high": {"value": 7, "unit": "mm"}, "text": "house range"}],
}


def test_a_senders_own_judgement_is_kept_word_for_word_and_never_taken_for_ours(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.note(note(exam, "weight", **kilograms("12.0"))))
    kept = stored(desk, adrenal(exam, "6.6", **SENT))
    assert flag(kept) == "H"
    own = [e["extension"] for e in kept["extension"] if e["url"] == uris.SENDER_JUDGEMENT]
    assert own == [
        [{"url": "interpretation", "valueCodeableConcept": SENT["interpretation"][0]}],
        [
            {"url": "low", "valueQuantity": {"value": 1, "unit": "mm"}},
            {"url": "high", "valueQuantity": {"value": 7, "unit": "mm"}},
            {"url": "text", "valueString": "house range"},
        ],
    ]
    # sent back as it was read, with another value: ours is not taken for the sender's, the sender's stays
    changed = {**kept, "valueQuantity": {**kept["valueQuantity"], "value": exact.decode(b"6.3")}}
    put = taken(
        desk.http.put(f"Observation/{kept['id']}", content=exact.encode(changed), headers={"If-Match": 'W/"1"'})
    )
    assert flag(decoded(put)) == "N"
    assert [e["extension"] for e in decoded(put)["extension"] if e["url"] == uris.SENDER_JUDGEMENT] == own


def test_a_patched_value_is_judged_anew(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.note(note(exam, "weight", **kilograms("12.0"))))
    kept = stored(desk, adrenal(exam, "6.6", **SENT))
    step = {"op": "replace", "path": "/valueQuantity/value", "value": exact.decode(b"6.3")}
    headers = {"Content-Type": "application/json-patch+json", "If-Match": 'W/"1"'}
    answer = desk.http.patch(f"Observation/{kept['id']}", content=exact.encode([step]), headers=headers)
    again = decoded(taken(answer))
    assert (flag(again), again["meta"]["versionId"]) == ("N", "2")
    assert len([e for e in again["extension"] if e["url"] == uris.SENDER_JUDGEMENT]) == 2


def test_components_are_judged_each_for_itself(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.note(note(exam, "sedation", valueString="none")))
    whole = exam.scanner.measured("kidney_left", "resistive-index", "0.7", unit="1")
    parts = [
        {
            "code": concept(uris.MEASURE, key),
            "valueQuantity": {"value": exact.decode(v), "system": uris.UCUM, "code": "1"},
        }
        for key, v in (("resistive-index", b"0.73"), ("pulsatility-index", b"1.52"))
    ]
    panel = {k: v for k, v in whole.items() if k not in {"valueQuantity", "code"}} | {
        "code": {"text": "Renal indices"}, "component": parts
    }  # fmt: skip
    kept = stored(desk, panel)
    assert [flag(c) for c in kept["component"]] == ["H", "N"]
    assert not flag(kept)


def test_where_the_structure_is_not_known_that_is_the_reason(desk: Desk) -> None:
    exam = desk.place()
    one = exam.scanner.measured("kidney_left", "length", "60")
    kept = stored(desk, {**one, "bodySite": concept(uris.SCT, "64033007")})  # a kidney, the side is not said
    assert (flag(kept), reason(kept)) == (
        "", "It is not known which measurement of which structure this is, so it is not compared with a limit."
    )  # fmt: skip


@pytest.mark.parametrize(("place", "said"), [("inter-rugal", "H"), ("rugal-fold", ""), ("", "")])
def test_a_stomach_wall_is_judged_by_its_place(desk: Desk, place: str, said: str) -> None:
    exam = desk.place()
    one = exam.scanner.measured("stomach_fundus_body", "wall-thickness", "5.1", plane="long")
    if place:
        one["extension"] = [*one["extension"], {"url": uris.X_PLACE, "valueCode": place}]
    kept = stored(desk, one)
    assert flag(kept) == said
    assert bool(reason(kept)) is not bool(said)


def test_finishing_judges_once_more_and_keeps_the_verdicts(desk: Desk) -> None:
    exam = desk.place(service="fluid-check")
    desk.survey(exam)
    desk.finish(exam)
    kept = [
        o
        for o in desk.search("Observation")
        if "valueQuantity" in o and o["code"]["coding"][0]["system"] == uris.MEASURE
    ]
    assert kept
    assert all(flag(o) or reason(o) for o in kept)
    assert {o["status"] for o in kept} == {"final"}


def test_a_weight_corrected_after_the_report_judges_anew(desk: Desk) -> None:
    exam = desk.place(service="fluid-check")
    weight = stored(desk, note(exam, "weight", status="preliminary", **kilograms("12.0")))
    kept = stored(desk, adrenal(exam, "6.6"))
    desk.survey(exam)
    desk.finish(exam)
    assert (flag(now(desk, kept)), now(desk, kept)["status"]) == ("H", "final")
    heavier = {**desk.get(f"Observation/{weight['id']}"), **kilograms("25.0")}
    said = {"status": "corrected", "reason": "The weight was another dog's.", "by": "Dr I. Reader", "major": False}
    taken(desk.operate(exam.id, "amend", **said, conclusion="No abnormality seen.", observation=heavier))
    assert (flag(now(desk, kept)), now(desk, kept)["status"]) == ("N", "corrected")


def test_the_report_tells_the_weight_that_measurements_were_judged_by(desk: Desk) -> None:
    exam = desk.place(service="fluid-check")
    early = {"effectiveDateTime": "2026-11-25T09:00:00Z"}
    taken(desk.note(note(exam, "weight", **kilograms("12.0"))))
    taken(desk.note(note(exam, "weight", **kilograms("25.0"), **early)))  # an earlier weight, sent later
    assert flag(stored(desk, adrenal(exam, "6.6"))) == "H"
    desk.survey(exam)
    report = desk.get(desk.finish(exam)["report"])
    assert "12.0 kg" in report["text"]["div"]
    assert "25.0 kg" not in report["text"]["div"]


def test_an_organisation_of_kind_records_is_left_as_it_sends(desk: Desk) -> None:
    sent = {"resourceType": "Observation", "status": "final", "code": concept(uris.MEASURE, "length"), **SENT,
            "valueQuantity": {"value": 3, "system": uris.UCUM, "code": "mm"}}  # fmt: skip
    kept = decoded(taken(desk.records.post("Observation", content=exact.encode(sent))))
    assert {k: kept[k] for k in sent} == sent
    assert found(desk.records, "Observation", _id=kept["id"]) == [kept]
