"""Ratios, volumes and scores over HTTP: made with their inputs, kept in step with them, and gone with them."""

from decimal import Decimal
from typing import Any

import pytest

from service.fhir import exact, uris, validate
from tests.builders import orders
from tests.builders.orders import concept
from tests.builders.survey import coded
from tests.whole.telling import Desk, Exam, Json, decoded, refusal, taken

pytestmark = pytest.mark.sqlite_first

RATIO, LENGTH = "aorta-ratio", "length"


def amount(value: str, unit: str) -> Json:
    return {"value": Decimal(value), "unit": unit, "system": uris.UCUM, "code": unit}


def weighing(exam: Exam, value: str, **more: Any) -> Json:
    return exam.scanner.about(
        {
            "resourceType": "Observation",
            "status": "final",
            "code": concept(uris.NOTE, "weight"),
            "effectiveDateTime": exam.scanner.at,
            "valueQuantity": amount(value, "kg"),
            **more,
        }
    )


def waveform(exam: Exam, peak: str, end: str, **more: Any) -> Json:
    """The velocities of one beat in the left kidney, and what else the scanner says of it."""
    parts = {"peak-systolic-velocity": (peak, "cm/s"), "end-diastolic-velocity": (end, "cm/s"), **more}
    return exam.scanner.about(
        {
            "resourceType": "Observation",
            "status": "final",
            "code": {"text": "Doppler"},
            "effectiveDateTime": exam.scanner.at,
            "bodySite": coded(uris.STRUCTURE, "kidney_left"),
            "component": [{"code": coded(uris.MEASURE, k), "valueQuantity": amount(*v)} for k, v in parts.items()],
        }
    )


def computed(desk: Desk, exam: Exam, formula: str, measure: str = "") -> list[Json]:
    """The Observations of a formula that stand, of one measure or of all."""
    found = desk.search("Observation", **{"based-on": f"ServiceRequest/{exam.order}"})
    wanted = [o for o in found if o.get("method", {}).get("coding", [{}])[-1].get("code") == formula]
    return [
        o
        for o in wanted
        if o["status"] != "entered-in-error" and measure in {"", *(c["code"] for c in o["code"]["coding"])}
    ]


def shown(resource: Json) -> str:
    return str(resource["valueQuantity"]["value"])


def unrounded(resource: Json) -> str:
    return next(str(e["valueDecimal"]) for e in resource["extension"] if e["url"] == uris.X_UNROUNDED)


def marks(element: Json) -> list[Json]:
    """What a result that was sent is said to be by its own inputs."""
    return [e["valueReference"] for e in element.get("extension", []) if e["url"] == uris.X_DIFFERS]


def sources(resource: Json) -> set[str]:
    return {d["reference"] for d in resource["derivedFrom"]}


def test_a_ratio_is_made_with_the_last_of_its_inputs_and_follows_them(desk: Desk) -> None:
    exam = desk.place()
    length = decoded(taken(desk.note(exam.scanner.measured("kidney_left", LENGTH, "62"))))
    assert computed(desk, exam, "KAO") == []
    aorta = decoded(taken(desk.note(exam.scanner.measured("aorta", "luminal-diameter", "8.5"))))
    (ratio,) = computed(desk, exam, "KAO")
    assert (shown(ratio), unrounded(ratio)) == ("7.3", "7.294117647058823529411764706")
    assert sources(ratio) == {f"Observation/{length['id']}", f"Observation/{aorta['id']}"}
    assert ratio["status"] == "preliminary"
    assert ratio["bodySite"]["coding"][-1]["code"] == "kidney_left"
    corrected = {**length, "valueQuantity": amount("6.8", "cm")}
    taken(desk.http.put(f"Observation/{length['id']}", content=_json(corrected), headers=_match(length)))
    (again,) = computed(desk, exam, "KAO")
    assert (again["id"], shown(again), again["meta"]["versionId"]) == (ratio["id"], "8.0", "2")
    gone = {**desk.get(f"Observation/{aorta['id']}"), "status": "entered-in-error"}
    taken(desk.http.put(f"Observation/{aorta['id']}", content=_json(gone), headers=_match(gone)))
    assert computed(desk, exam, "KAO") == []
    assert desk.get(f"Observation/{ratio['id']}")["status"] == "entered-in-error"
    taken(desk.note(exam.scanner.measured("aorta", "luminal-diameter", "10")))
    assert [shown(o) for o in computed(desk, exam, "KAO")] == ["6.8"]


def test_all_of_a_transaction_is_computed_in_it(desk: Desk) -> None:
    exam = desk.place(species="cat")
    size = {"length": "25", "width": "20", "height": "9.5"}
    answer = desk.note(
        weighing(exam, "4200", valueQuantity=amount("4200", "g")),
        *(exam.scanner.measured("gallbladder", k, v) for k, v in size.items()),
    )
    weight = next(r for r in taken(answer).json()["entry"])["response"]["location"].split("/_history")[0]
    (volume,) = computed(desk, exam, "GBV")
    (per_weight,) = computed(desk, exam, "GBVKG")
    assert (shown(volume), unrounded(volume)) == ("2.5", "2.47")
    assert shown(per_weight) == "0.59"
    assert sources(per_weight) == {f"Observation/{volume['id']}", "Observation/" + weight.rpartition("/")[2]}
    heavier = weighing(exam, "5")
    taken(desk.note(heavier))
    assert shown(computed(desk, exam, "GBVKG")[0]) == "0.49"


def test_repeated_doppler_readings_are_kept_and_averaged(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.note(waveform(exam, "32", "11")))
    (one,) = computed(desk, exam, "RI")
    assert computed(desk, exam, "MEAN") == []
    taken(desk.note(waveform(exam, "30", "9"), waveform(exam, "40", "12")))
    singles = computed(desk, exam, "RI")
    (mean,) = computed(desk, exam, "MEAN", "resistive-index")
    assert len(singles) == 3
    assert one["id"] in {o["id"] for o in singles}
    assert sources(mean) == {f"Observation/{o['id']}" for o in singles}
    assert shown(mean) == "0.69"
    assert [c["valueInteger"] for c in mean["component"]] == [3]
    made = desk.finish(exam, remaining="time-limited", detail="the dog was tired")
    told = desk.get(made["report"])["text"]["div"]
    assert "0.69 (mean of 3 readings)" in told
    assert "0.66" not in told, "the single readings stay Observations"


def test_an_index_that_differs_from_its_own_velocities_is_kept_marked_and_recomputed(desk: Desk) -> None:
    exam = desk.place(species="cat")
    sent = decoded(taken(desk.note(waveform(exam, "49.79", "31.92", **{"resistive-index": ("0.59", "1")}))))
    (ours,) = computed(desk, exam, "RI")
    assert shown(ours) == "0.36"
    assert not marks(sent)
    (mark,) = marks(sent["component"][-1])
    assert mark["reference"] == f"Observation/{ours['id']}"
    assert "0.36" in mark["display"]
    assert [str(c["valueQuantity"]["value"]) for c in sent["component"]][-1] == "0.59"
    sent["component"][-1]["valueQuantity"] = amount("0.36", "1")
    taken(desk.http.put(f"Observation/{sent['id']}", content=_json(sent), headers=_match(sent)))
    assert not marks(desk.get(f"Observation/{sent['id']}")["component"][-1])


def test_a_ratio_that_came_first_is_marked_when_its_inputs_come(desk: Desk) -> None:
    exam = desk.place()
    ratio = exam.scanner.measured("kidney_left", RATIO, "9.5", valueQuantity=amount("9.5", "1"))
    sent = decoded(taken(desk.note(ratio)))
    assert "extension" not in sent
    taken(
        desk.note(
            exam.scanner.measured("kidney_left", LENGTH, "62"),
            exam.scanner.measured("aorta", "luminal-diameter", "8.5"),
        )
    )
    now = desk.get(f"Observation/{sent['id']}")
    assert now["meta"]["versionId"] == "2"
    assert [e["url"] for e in now["extension"]] == [uris.X_DIFFERS]
    assert shown(now) == "9.5", "what was sent stays as it was sent"


def test_a_computed_value_is_never_typed_over(desk: Desk) -> None:
    exam = desk.place()
    size = [
        exam.scanner.measured("kidney_left", LENGTH, "62"),
        exam.scanner.measured("aorta", "luminal-diameter", "8.5"),
    ]
    taken(desk.note(*size))
    (ratio,) = computed(desk, exam, "KAO")
    typed = {**ratio, "valueQuantity": amount("7.0", "1")}
    faults = refusal(desk.http.put(f"Observation/{ratio['id']}", content=_json(typed), headers=_match(ratio)), 409)
    assert "computed" in str(faults)


def test_four_sites_without_fluid_settle_the_score(desk: Desk) -> None:
    exam = desk.place(orders.bundle(orders.patient(), service="fluid-check"))
    sites = ("diaphragmaticohepatic", "splenorenal", "cystocolic", "hepatorenal")
    taken(desk.note(*(exam.scanner.found("peritoneum", f"fluid-{s}", "none") for s in sites[:3])))
    assert computed(desk, exam, "AFS") == []
    taken(desk.note(exam.scanner.measured("peritoneum", f"pocket-depth-{sites[3]}", "11")))
    (score,) = computed(desk, exam, "AFS")
    assert shown(score) == "1.0"
    assert score["valueQuantity"]["code"] == "{score}"
    assert "measure:fluid-score" not in desk.owed(exam)["peritoneum"]


def test_a_limited_exam_uses_what_came_besides(desk: Desk) -> None:
    """The aorta is no structure of this exam; its Observation is kept, listed, and good enough to divide by."""
    whole = orders.bundle(orders.patient(), service="limited", bodySite=[concept(uris.STRUCTURE, "kidneys")])
    exam = desk.place(whole)
    assert "aorta" not in desk.steps(exam)
    taken(desk.note(exam.scanner.measured("aorta", "luminal-diameter", "8.5")))
    taken(desk.note(exam.scanner.measured("kidney_right", LENGTH, "62")))
    (ratio,) = computed(desk, exam, "KAO")
    assert shown(ratio) == "7.3"


def test_every_result_is_sound_r4_and_of_our_profile(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.note(weighing(exam, "20"), *(waveform(exam, p, e) for p, e in (("32", "11"), ("30", "9")))))
    areas = {"sludge-area": "210", "lumen-area": "680"}
    taken(desk.note(*(exam.scanner.measured("gallbladder", k, v, unit="mm2") for k, v in areas.items())))
    node = exam.scanner.measured("jejunal_nodes", LENGTH, "21", bodySite=_left("jejunal_nodes"))
    thick = exam.scanner.measured("jejunal_nodes", "thickness", "6.4", bodySite=_left("jejunal_nodes"))
    taken(desk.note(node, thick))
    found = [o for key in ("RI", "MEAN", "SLUDGE", "SL") for o in computed(desk, exam, key)]
    assert len(found) == 2 + 3 + 1 + 1
    for one in found:
        assert validate.check(one) == []
        asked = {"resource": one, "profile": f"{uris.BASE}/StructureDefinition/measurement"}
        told = decoded(taken(desk.http.post("Observation/$validate", content=_json(orders.parameters(asked)))))
        assert {i["severity"] for i in told["issue"]} == {"information"}, told
    assert {c["code"] for c in computed(desk, exam, "SL")[0]["bodySite"]["coding"]} >= {"jejunal_nodes", "7771000"}


def test_no_fluid_as_expected_is_a_score_of_nothing_until_it_is_taken_back(desk: Desk) -> None:
    exam = desk.place()
    taken(desk.settle(exam, "", station=10, performer="Examiner"))
    (score,) = computed(desk, exam, "AFS")
    assert shown(score) == "0.0"
    assert len(sources(score)) == 4
    taken(desk.settle(exam, "", station=10, retract=True, performer="Examiner"))
    assert computed(desk, exam, "AFS") == []
    assert desk.get(f"Observation/{score['id']}")["status"] == "entered-in-error"


def test_what_was_computed_is_in_the_finished_report(desk: Desk) -> None:
    exam = desk.place()
    desk.survey(exam)
    (ratio, *_) = computed(desk, exam, "KAO")
    made = desk.finish(exam)
    report = desk.get(made["report"])
    assert {"reference": f"Observation/{ratio['id']}"} in report["result"]
    assert desk.get(f"Observation/{ratio['id']}")["status"] == "final"
    aorta = next(
        o
        for o in desk.search("Observation", **{"based-on": f"ServiceRequest/{exam.order}"})
        if o["code"]["coding"][0]["code"] == "397413000" or o["code"]["coding"][-1]["code"] == "luminal-diameter"
    )
    corrected = {**aorta, "valueQuantity": amount("12.5", "mm")}
    taken(
        desk.operate(
            exam.id,
            "amend",
            status="corrected",
            major=False,
            reason="Caliper",
            by="Dr I. Reader",
            observation=[corrected],
        )
    )
    after = desk.get(f"Observation/{ratio['id']}")
    assert after["status"] == "corrected"
    assert shown(after) != shown(ratio)


def _left(structure: str) -> Json:
    """One of several nodes, on the left."""
    side = {"system": uris.SCT, "code": "7771000"}  # DICOM PS3.16 CID 244
    return {"coding": [*coded(uris.STRUCTURE, structure)["coding"], side]}


def _json(resource: Json) -> bytes:
    return exact.encode(resource)


def _match(resource: Json) -> dict[str, str]:
    return {"If-Match": f'W/"{resource["meta"]["versionId"]}"'}


def test_a_withdrawn_exam_is_never_compared_with(desk: Desk) -> None:
    chip = orders.number("chip")
    first = desk.place(orders.bundle(orders.patient(chip)), at="2026-05-12T10:00:00Z")
    taken(desk.note(first.scanner.measured("kidney_left", LENGTH, "60")))
    desk.finish(first, remaining="time-limited", detail="a recheck is booked")
    taken(desk.operate(first.id, "withdraw", reason="It was another dog", by="Dr I. Reader"))
    second = desk.place(orders.bundle(orders.patient(chip)))
    taken(desk.note(second.scanner.measured("kidney_left", LENGTH, "80")))
    made = desk.finish(second, remaining="time-limited", detail="the dog was tired")
    assert "No earlier examination was compared" in desk.get(made["report"])["text"]["div"]


def test_the_report_compares_with_the_animals_earlier_exam(desk: Desk) -> None:
    """6.4 to 7.1 mm: +0.7 mm, +10.9% (the table's example of a trend)."""
    chip = orders.number("chip")
    first = desk.place(orders.bundle(orders.patient(chip)), at="2026-05-12T10:00:00Z")
    taken(desk.note(first.scanner.measured("adrenal_left", "caudal-pole-thickness", "6.4")))
    taken(desk.note(first.scanner.measured("kidney_left", LENGTH, "60.0")))
    before = desk.finish(first, remaining="time-limited", detail="a recheck is booked")
    alone = desk.get(before["report"])["text"]["div"]
    assert "No earlier examination was compared" in alone
    assert "luminal diameter of the abdominal aorta was not measured" in alone
    second = desk.place(orders.bundle(orders.patient(chip)))
    assert second.animal == first.animal
    taken(desk.note(second.scanner.measured("adrenal_left", "caudal-pole-thickness", "7.1")))
    taken(desk.note(second.scanner.measured("kidney_left", LENGTH, "61.5")))
    made = desk.finish(second, remaining="time-limited", detail="the dog was tired")
    text = desk.get(made["report"])["text"]["div"]
    assert "was 6.4 mm (+0.7 mm, +10.9%)" in text
    assert "was 60.0 mm (+1.5 mm, +2.5%); a change below 10% may be the measuring alone" in text
    assert "12 May 2026" in text
    assert "No earlier examination was compared" not in text
