"""The steps of a survey and its evidence over HTTP: what each thing sent settles, and what is still owed then."""

import random
from collections import Counter
from typing import Any

import pytest

from service.fhir import exact, uris
from tests.builders import orders
from tests.builders.orders import concept, entry, transaction
from tests.builders.scanner import Scanner
from tests.builders.survey import entered
from tests.whole.telling import Desk, Exam, Json, coded, decoded, references, refusal, taken

pytestmark = pytest.mark.sqlite_first

# knowledge of the trade's table of steps: (species, sex, neuter status) -> steps from the start, some that only it has
KINDS = [
    ("dog", "female", "neutered", {"uterine_stump"}, {"uterus", "ovary_left", "prostate", "prostate_neutered"}),
    ("dog", "female", "intact", {"uterus", "ovary_left", "ovary_right"}, {"uterine_stump", "prostate"}),
    ("dog", "male", "intact", {"prostate", "testes", "ask_testes"}, {"uterus", "prostate_neutered"}),
    ("dog", "male", "neutered", {"prostate_neutered"}, {"prostate", "uterus", "testes"}),
    ("cat", "female", "neutered", {"medial_iliac_nodes_cat"}, {"prostate", "uterus", "medial_iliac_nodes"}),
    ("cat", "male", "neutered", {"medial_iliac_nodes_cat"}, {"prostate", "prostate_neutered", "uterus"}),
]


@pytest.mark.parametrize(("species", "sex", "neutered", "has", "lacks"), KINDS)
def test_the_steps_follow_species_sex_and_neuter_status(
    desk: Desk, species: str, sex: str, neutered: str, has: set[str], lacks: set[str]
) -> None:
    exam = desk.place(orders.bundle(orders.patient(species=species, sex=sex, neutered=neutered)), species=species)
    steps = desk.steps(exam)
    assert has <= set(steps)
    assert not lacks & set(steps)
    assert not {"ask_sex", "ask_neuter"} & set(steps)
    stations = {x["valuePositiveInt"] for s in steps.values() for x in s["extension"] if x["url"] == uris.X_STATION}
    assert stations == set(range(1, 11))


def test_what_is_unknown_is_asked_and_its_steps_wait(desk: Desk) -> None:
    exam = desk.place(orders.bundle(orders.patient(sex="", neutered="")))
    steps = desk.steps(exam)
    assert {"ask_sex", "ask_neuter"} <= set(steps)
    assert not {"uterus", "uterine_stump", "prostate", "prostate_neutered"} & set(steps)
    refusal(desk.settle(exam, "ask_sex", sex="both"), 422)
    taken(desk.settle(exam, "ask_sex", sex="female"))
    taken(desk.settle(exam, "ask_neuter", neutered=True))
    assert "uterine_stump" in desk.steps(exam)
    assert not {"uterus", "prostate"} & set(desk.steps(exam))
    assert {desk.steps(exam)[code]["status"] for code in ("ask_sex", "ask_neuter")} == {"completed"}
    assert "gender" not in desk.get(f"Patient/{exam.animal}")  # an answer of the exam, never an edit of the animal


def test_owed_is_a_plain_search_that_answers_in_words_and_codes(desk: Desk) -> None:
    exam = desk.place()
    task = desk.steps(exam, status="ready")["gallbladder"]
    told = {i["type"]["coding"][0]["code"]: i["type"]["text"] for i in task["input"]}
    assert {"plane:long", "plane:short", "still", "measure:wall-thickness"} <= set(told)
    assert all(told.values())
    assert coded(task["businessStatus"]) == "not-yet"
    assert task["description"].startswith("2. ")


def test_each_thing_settles_what_it_proves(desk: Desk) -> None:
    exam = desk.place()
    scanner = exam.scanner
    taken(desk.note(scanner.shown("gallbladder", "long")))
    assert "plane:long" not in desk.owed(exam)["gallbladder"]
    taken(desk.note(scanner.measured("gallbladder", "wall-thickness", "1.2", plane="short")))
    assert not {"plane:short", "measure:wall-thickness"} & set(desk.owed(exam)["gallbladder"])
    assert coded(desk.steps(exam)["gallbladder"]["businessStatus"]) == "partly"
    assert desk.get(f"Task/{exam.id}")["status"] == "in-progress"
    desk.survey(exam)
    assert "gallbladder" not in desk.owed(exam)
    assert desk.steps(exam)["gallbladder"]["status"] == "completed"


@pytest.mark.parametrize("seed", [1, 2])
def test_any_order_and_any_grouping_come_to_the_same(desk: Desk, seed: int) -> None:
    exam = desk.place()
    resources = exam.scanner.everything(desk.steps(exam, status="ready").values())
    random.Random(seed).shuffle(resources)
    for start in range(0, len(resources), 100):
        taken(desk.note(*resources[start : start + 100]))
    desk.survey(exam)  # what only a finding made necessary
    assert desk.owed(exam) == {}
    assert {s["status"] for s in desk.steps(exam).values()} <= {"completed", "draft"}


def test_the_same_evidence_twice_is_without_effect(desk: Desk) -> None:
    exam = desk.place(service="fluid-check")
    one = exam.scanner.measured("peritoneum", "pocket-depth", "3.0") | {
        "identifier": [{"system": "https://scanner.example/measurement", "value": orders.number("m")}]
    }
    bundle = transaction([entry(one, once=True)])
    first, again = desk.send(bundle), desk.send(bundle)
    assert references(first) == references(again)
    assert decoded(again)["entry"][0]["response"]["status"].startswith("200")
    task = desk.steps(exam)["peritoneum"]
    assert entered(task).count("measure:pocket-depth") == 1
    assert task["meta"]["versionId"] == "2"
    before = desk.owed(exam)
    taken(desk.note(*[exam.scanner.shown("peritoneum", "multi")] * 2))
    taken(desk.note(exam.scanner.shown("peritoneum", "multi")))
    assert set(desk.owed(exam)["peritoneum"]) <= set(before["peritoneum"])


def test_every_digit_stays(desk: Desk) -> None:
    exam = desk.place()
    sent = exam.scanner.measured("gallbladder", "wall-thickness", "0.40")
    answer = taken(desk.note(sent))
    stored = desk.http.get(f"Observation/{decoded(answer)['id']}")
    assert b'"value":0.40,' in stored.content
    assert b'"value":0.40,' in desk.http.get("Observation", params={"based-on": f"ServiceRequest/{exam.order}"}).content


CENTIMETRES = "120"  # a wall of 12 cm: centimetres for millimetres


def test_what_cannot_be_is_refused_unless_it_was_confirmed(desk: Desk) -> None:
    exam = desk.place()
    good = exam.scanner.measured("spleen", "thickness", "15.0")
    thick = exam.scanner.measured("gallbladder", "wall-thickness", CENTIMETRES)
    issues = refusal(desk.note(good, thick, thick), 422)
    assert [where.startswith(f"Bundle.entry[{n}]") for n, (where, _) in zip((1, 2), issues, strict=True)] == [True] * 2
    assert desk.counts("Observation") == {"Observation": 0}
    assert desk.get(f"Task/{exam.id}")["status"] == "accepted"
    confirmed = thick | {"extension": [{"url": uris.X_CONFIRMED, "valueBoolean": True}]}
    assert desk.note(confirmed).status_code == 201
    assert "measure:wall-thickness" not in desk.owed(exam)["gallbladder"]


def test_a_code_without_mapping_is_kept_listed_and_counted(desk: Desk) -> None:
    exam = desk.place()
    strange = exam.scanner.measured("spleen", "thickness", "15.0") | {
        "code": {"coding": [{"system": "https://scanner.example/codes", "code": "sparkle", "display": "Sparkle"}]}
    }
    before = desk.owed(exam)
    answer = taken(desk.note(strange))
    kept = desk.get(f"Observation/{decoded(answer)['id']}")
    assert kept["code"] == strange["code"]
    assert desk.owed(exam) == before
    listed = exact.encode(desk.get(f"Task/{exam.id}")["output"]).decode()
    assert "https://scanner.example/codes|sparkle" in listed
    assert f"Observation/{kept['id']}" in listed


def test_an_ambiguous_site_settles_nothing_and_is_listed(desk: Desk) -> None:
    exam = desk.place()
    liver = exam.scanner.shown("spleen", "long") | {"bodySite": concept(uris.SCT, "10200004")}  # just "liver"
    before = desk.owed(exam)
    answer = taken(desk.note(liver))
    assert desk.owed(exam) == before
    assert f"Media/{decoded(answer)['id']}" in exact.encode(desk.get(f"Task/{exam.id}")).decode()


def test_codes_of_others_settle_too(desk: Desk) -> None:
    exam = desk.place()
    bladder = exam.scanner.measured("spleen", "thickness", "1.5") | {
        "code": concept(uris.LOINC, "59089-3"),
        "bodySite": concept(uris.SCT, "28231008"),  # Gallbladder, DICOM PS3.16 CID 4
    }
    before = desk.owed(exam)["gallbladder"]
    taken(desk.note(exam.scanner.shown("spleen", "long") | {"bodySite": concept(uris.SCT, "28231008")}, bladder))
    assert Counter(before) - Counter(desk.owed(exam)["gallbladder"])


def test_a_study_counts_images_and_proves_no_plane(desk: Desk) -> None:
    exam = desk.place()
    before = desk.owed(exam)["gallbladder"]
    taken(desk.note(study(exam, images=3)))
    left = desk.owed(exam)["gallbladder"]
    assert set(before) - set(left) == {"still"}


def study(exam: Exam, *, images: int) -> Json:
    series = {
        "uid": "1.2.840.99999999.1.2",
        "modality": {"system": uris.DCM, "code": "US"},
        "bodySite": {"system": uris.STRUCTURE, "code": "gallbladder"},
        "numberOfInstances": images,
        "started": exam.scanner.at,
    }
    whole = {"resourceType": "ImagingStudy", "status": "available", "started": exam.scanner.at, "series": [series]}
    return exam.scanner.about(whole)


@pytest.mark.parametrize(
    ("wrong", "where"),
    [
        ({"subject": {"reference": "Patient/another"}}, "Observation.subject"),
        ({"basedOn": [{"reference": "ServiceRequest/nobody"}]}, "Observation.basedOn"),
        ({"valueQuantity": {"value": 1, "unit": "stone"}}, "Observation.value"),
    ],
)
def test_evidence_of_something_else_is_refused(desk: Desk, wrong: dict[str, Any], where: str) -> None:
    exam = desk.place()
    answer = desk.note(exam.scanner.measured("spleen", "thickness", "15.0") | wrong)
    assert answer.status_code in {400, 422}
    assert any(w.startswith(where) for w, _ in refusal(answer, answer.status_code)), answer.text
    assert desk.counts("Observation") == {"Observation": 0}


def test_evidence_set_to_entered_in_error_reopens_its_step_and_the_history_stays(desk: Desk) -> None:
    exam = desk.place()
    answer = taken(desk.note(exam.scanner.measured("gallbladder", "wall-thickness", "1.2", plane="long")))
    wrong = decoded(answer)
    address = f"Observation/{wrong['id']}"
    body = exact.encode(wrong | {"status": "entered-in-error"})
    assert desk.http.put(address, content=body).status_code == 428
    taken(desk.http.put(address, content=body, headers={"If-Match": 'W/"1"'}))
    assert {"plane:long", "measure:wall-thickness"} <= set(desk.owed(exam)["gallbladder"])
    task = desk.steps(exam)["gallbladder"]
    assert "retracted:measure:wall-thickness" in entered(task)
    assert len(decoded(desk.http.get(f"{address}/_history"))["entry"]) == 2
    assert desk.http.get(f"{address}/_history/1").is_success


def test_a_second_look_settles_a_deferred_step_and_both_entries_stay(desk: Desk) -> None:
    exam = desk.place()
    earlier = "2026-11-25T09:30:00Z"
    said = {"disposition": "deferred", "window": "right intercostal", "effective": earlier}
    taken(desk.settle(exam, "common_bile_duct", **said))
    task = desk.steps(exam)["common_bile_duct"]
    assert (task["status"], coded(task["businessStatus"])) == ("ready", "deferred")
    assert "deferred" in desk.owed(exam)["common_bile_duct"]
    taken(desk.note(*Scanner.owed_by(exam.scanner, task)))
    after = desk.steps(exam)["common_bile_duct"]
    assert after["status"] == "completed"
    assert "disposition:deferred" in entered(after)
    assert "plane:long" in entered(after)
