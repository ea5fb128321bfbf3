"""Evidence and explicit acts of an exam, from the resource sent to the Tasks stored, on both engines."""

from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import pytest

from service.actions.ports import House
from service.actions.settle_step import settle
from service.actions.writing import rewrite
from service.basics.errors import Conflict, Invalid, Missing, Refusal, RuleBroken
from service.catalogue.load import Catalogues
from service.fhir import uris, validate
from tests.builders.money import faults
from tests.builders.survey import (
    Practice,
    business,
    coded,
    entered,
    finding,
    image,
    mappings,
    measurement,
    owed,
    parameters_of,
)

Json = dict[str, Any]


@pytest.fixture
def practice(books: Any, organization: str) -> Practice:
    made = Practice(books, organization)
    made.place()
    return made


def texts(refusal: Refusal) -> str:
    return " | ".join(f.text for f in refusal.faults)


def live(task: Json) -> list[str]:
    return [i for i in entered(task) if not i.startswith("retracted:")]


def observations(practice: Practice, task: Json) -> list[Json]:
    sources = [o["valueReference"]["reference"] for o in task["output"] if "valueReference" in o]
    return [practice.get(s) for s in sources]


def test_evidence_settles_what_it_proves_and_the_task_says_what_is_owed(practice: Practice) -> None:
    assert business(practice.task("kidney_left")) == ("ready", "not-yet")
    assert practice.whole()["status"] == "accepted"
    practice.send(measurement("kidney_left", "length", "61.20", plane="long"), image("kidney_left", "short"))
    task = practice.task("kidney_left")
    assert business(task) == ("ready", "partly")
    assert {"still", "clip", "finding:size"} <= set(owed(task))
    assert not {"plane:long", "plane:short", "measure:length"} & set(owed(task))
    assert task["input"][0]["type"]["text"] == "1 more still image of 2 asked for"
    assert task["input"][0]["valueInteger"] == 1
    assert practice.whole()["status"] == "in-progress"
    assert practice.row().state == "in-progress"


def test_the_same_evidence_again_changes_nothing(practice: Practice) -> None:
    (sent,) = practice.send(measurement("kidney_left", "length", "61.2", plane="long"))
    before = practice.task("kidney_left")
    practice.change(sent)
    assert practice.get(sent)["meta"]["versionId"] == "2"
    assert practice.task("kidney_left") == before


def test_corrected_evidence_moves_to_where_it_belongs(practice: Practice) -> None:
    (sent,) = practice.send(measurement("kidney_left", "length", "61.2", plane="long"))
    practice.change(sent, bodySite=coded(uris.STRUCTURE, "kidney_right"))
    assert live(practice.task("kidney_left")) == []
    assert entered(practice.task("kidney_left")) == ["retracted:measure:length", "retracted:plane:long"]
    assert business(practice.task("kidney_left")) == ("ready", "not-yet")
    assert live(practice.task("kidney_right")) == ["measure:length", "plane:long"]


def test_a_changed_finding_replaces_what_it_said(practice: Practice) -> None:
    (sent,) = practice.send(finding("spleen", "spleen.size.normal"))
    practice.change(sent, valueCodeableConcept=coded(uris.FINDING, "spleen.size.large-marked"))
    assert entered(practice.task("spleen")) == ["retracted:finding:size", "finding:size"]


def test_entered_in_error_opens_the_step_again_and_corrects_the_start(practice: Practice) -> None:
    early, _ = practice.send(
        measurement("aorta", "luminal-diameter", "8.1", plane="long", at="2026-11-24T09:00:00Z"),
        image("aorta", "short", at="2026-11-25T10:05:00+01:00"),
    )
    assert practice.row().started == "2026-11-24T09:00:00Z"
    practice.change(early, status="entered-in-error")
    assert "measure:luminal-diameter" in owed(practice.task("aorta"))
    assert practice.row().started == "2026-11-25T10:05:00+01:00"


def test_centimetres_for_millimetres_are_refused_all_at_once_and_nothing_is_stored(practice: Practice) -> None:
    with pytest.raises(RuleBroken) as refused:
        practice.send(
            measurement("duodenum", "wall-thickness", "12", unit="cm"),
            measurement("kidney_left", "length", "61.2"),
            measurement("jejunum", "wall-thickness", "3.1", unit="kg"),
        )
    assert len(refused.value.faults) == 2
    assert "12 cm" in texts(refused.value)
    assert "Jejunum" in texts(refused.value)
    assert business(practice.task("kidney_left")) == ("ready", "not-yet")


def test_a_confirmed_value_is_taken(practice: Practice) -> None:
    confirmed = {"url": uris.X_CONFIRMED, "valueBoolean": True}
    practice.send(measurement("duodenum", "wall-thickness", "12", unit="cm", extension=[confirmed]))
    assert live(practice.task("duodenum")) == ["measure:wall-thickness"]
    with pytest.raises(RuleBroken, match="cannot be compared"):
        practice.send(measurement("duodenum", "wall-thickness", "12", unit="kg", extension=[confirmed]))


def test_plausible_centimetres_are_taken_as_they_came(practice: Practice) -> None:
    (sent,) = practice.send(measurement("kidney_left", "length", "6.120", unit="cm"))
    assert str(practice.get(sent)["valueQuantity"]["value"]) == "6.120"
    assert live(practice.task("kidney_left")) == ["measure:length"]


def test_what_no_row_knows_is_kept_listed_and_hides_nothing(practice: Practice) -> None:
    strange = {**finding("spleen", "spleen.size.normal"), "valueCodeableConcept": coded("urn:oid:1.2.3", "BIG")}
    liver = {**finding("liver_left", "liver.focal-lesions.mass"), "bodySite": coded(uris.SCT, "10200004")}
    unknown = {**measurement("liver_left", "length", "3"), "code": coded("urn:oid:1.2.3", "SHEAR")}
    practice.send(strange, liver, unknown)
    assert sorted(entered(practice.whole())) == ["unmapped:code", "unmapped:site-ambiguous", "unmapped:value"]
    practice.settle("", station=3)
    assert "finding:size" in owed(practice.task("spleen"))
    assert live(practice.task("spleen")) == ["unread:finding:size"], "a station as expected leaves what waits unread"
    practice.settle("", station=1)
    assert live(practice.task("liver_central")) == ["unread:site-ambiguous"]
    practice.settle("spleen", disposition="seen")
    assert "finding:margin" in live(practice.task("spleen"))
    assert "finding:size" in owed(practice.task("spleen"))


def test_a_new_row_of_a_senders_code_holds_for_open_exams_at_once(practice: Practice) -> None:
    practice.send({**finding("spleen", "spleen.size.normal"), "valueCodeableConcept": coded("urn:oid:1.2.3", "BIG")})
    rows = mappings()
    words = {**rows.words, ("urn:oid:1.2.3", "BIG"): ("spleen", "size", "large-marked")}
    now = replace(rows, words=words)
    practice.house = House(practice.books, Catalogues(now, lambda hash_: None))
    practice.send(image("spleen", "long"))
    assert live(practice.task("spleen")) == ["still", "plane:long", "finding:size"]
    assert live(practice.whole()) == []


def test_seen_as_expected_writes_one_observation_for_each_default(practice: Practice) -> None:
    practice.send(finding("spleen", "spleen.size.large-marked"))
    practice.settle("spleen", disposition="seen", plane=["long", "short"], performer="Practitioner/invented")
    task = practice.task("spleen")
    made = [o for o in observations(practice, task) if o["code"]["coding"][0]["code"] != "size"]
    assert sorted(o["code"]["coding"][0]["code"] for o in made) == [
        "echogenicity",
        "echotexture",
        "focal-lesions",
        "margin",
    ]
    assert {o["status"] for o in made} == {"preliminary"}
    assert {o["interpretation"][0]["coding"][0]["code"] for o in made} == {"N"}
    assert {o["performer"][0]["reference"] for o in made} == {"Practitioner/invented"}
    assert all(o["basedOn"] == [{"reference": f"ServiceRequest/{practice.order}"}] for o in made)
    assert owed(task) == ["still", "clip"]


def test_settling_twice_is_settling_once(practice: Practice) -> None:
    first = practice.settle("adrenal_right", disposition="not-seen", reason="gas")
    again = practice.settle("adrenal_right", disposition="not-seen", reason="gas")
    assert again == first
    assert entered(again) == ["disposition:not-seen"]


def test_a_late_repeat_with_its_own_time_does_not_undo_a_second_look(practice: Practice) -> None:
    said = {"disposition": "not-seen", "reason": "gas", "effective": "2026-11-25T10:00:00Z"}
    practice.settle("adrenal_right", **said)
    practice.send(image("adrenal_right", "long", at="2026-11-25T10:05:00Z"))
    assert business(practice.settle("adrenal_right", **said)) == ("ready", "partly")
    assert entered(practice.task("adrenal_right")) == ["disposition:not-seen", "still", "plane:long"]


def test_taking_a_disposition_back_withdraws_what_it_wrote(practice: Practice) -> None:
    practice.settle("spleen", disposition="seen", plane=["long", "short"])
    written = observations(practice, practice.task("spleen"))
    assert len(written) == 5
    task = practice.settle("spleen", retract=True)
    assert business(task) == ("ready", "not-yet")
    assert all(i.startswith("retracted:") for i in entered(task))
    assert {o["status"] for o in observations(practice, task)} == {"entered-in-error"}
    assert practice.settle("spleen", retract=True) == task


def test_a_default_gives_way_to_what_is_sent_and_its_observation_with_it(practice: Practice) -> None:
    practice.settle("spleen", disposition="seen")
    practice.send(finding("spleen", "spleen.focal-lesions.mass", at="2026-11-25T11:00:00Z"))
    found = [o for o in observations(practice, practice.task("spleen")) if "focal" in str(o["code"])]
    assert [(o["status"], o["valueCodeableConcept"]["coding"][0]["code"]) for o in found] == [
        ("entered-in-error", "spleen.focal-lesions.none"),
        ("preliminary", "spleen.focal-lesions.mass"),
    ]


def test_a_station_as_expected_leaves_what_is_optional_deferred_or_settled(practice: Practice) -> None:
    practice.settle("common_bile_duct", disposition="deferred", station=7)
    practice.settle("portal_vein", disposition="not-seen", reason="gas")
    practice.send(finding("gallbladder", "gallbladder.wall.thick"))
    answer = practice.settle("", station=2)
    assert answer["resourceType"] == "Bundle"
    states = {e["resource"]["code"]["coding"][0]["code"]: business(e["resource"]) for e in answer["entry"]}
    assert states == {
        "gallbladder": ("ready", "partly"),
        "common_bile_duct": ("ready", "deferred"),
        "duodenal_papilla": ("ready", "partly"),
        "portal_vein": ("completed", "not-seen"),
        "hepatic_lymph_nodes": ("draft", "not-yet"),
    }
    walls = [o for o in entered(practice.task("gallbladder")) if o == "finding:wall"]
    assert walls == ["finding:wall"]
    practice.settle("", station=2, retract=True)
    assert live(practice.task("gallbladder")) == ["finding:wall"]
    assert business(practice.task("portal_vein")) == ("completed", "not-seen")


def test_what_a_station_cannot_be_told(practice: Practice) -> None:
    with pytest.raises(Invalid, match="Give the station"):
        practice.settle("", disposition="seen")
    with pytest.raises(Invalid) as refused:
        practice.settle("", station=9, disposition="not-seen", reason="gas")
    assert "can only be as expected" in texts(refused.value)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"disposition": "not-seen"}, "A reason is needed"),
        ({"disposition": "absent-surgical"}, "Say which operation"),
        ({"disposition": "seen", "plane": ["oblique"]}, "is no plane"),
        ({"item": "clip"}, "A reason is needed"),
        ({}, "Say how the step ended"),
    ],
)
def test_acts_that_break_a_rule(practice: Practice, given: Json, said: str) -> None:
    with pytest.raises(RuleBroken) as refused:
        practice.settle("spleen", **given)
    assert said in texts(refused.value)
    assert business(practice.task("spleen")) == ("ready", "not-yet")


def test_acts_that_cannot_be_understood_name_every_parameter(practice: Practice) -> None:
    wrong = parameters_of({"disposition": ["seen", "seen"], "colour": "red", "station": 77})
    with pytest.raises(Invalid) as refused:
        settle(practice.house, practice.caller, practice.task("spleen")["id"], wrong)
    assert {f.where for f in refused.value.faults} == {
        f"Parameters.parameter.where(name='{n}')" for n in ("disposition", "colour", "station")
    }


def test_nobody_settles_what_is_not_theirs(practice: Practice, books: Any) -> None:
    task = practice.task("spleen")["id"]
    books.add_organization(f"{practice.organization}-2", "Another", "practice")
    stranger = replace(practice.caller, organization=f"{practice.organization}-2")
    with pytest.raises(Missing):
        settle(practice.house, stranger, task, parameters_of({"disposition": "seen"}))
    with pytest.raises(Missing):
        practice.settle("", station=1) if not practice.exam else settle(
            practice.house, practice.caller, "no-such-task", parameters_of({"disposition": "seen"})
        )


def test_a_closed_exam_takes_nothing_and_says_where_to_go(practice: Practice) -> None:
    with practice.books.begin(practice.organization) as work:
        work.save_exam(replace(work.exam(practice.exam), state="finished"))
    for attempt in (
        lambda: practice.send(image("spleen", "long")),
        lambda: practice.settle("spleen", disposition="seen"),
    ):
        with pytest.raises(Conflict, match="amend"):
            attempt()


def test_what_closing_left_unbegun_stays_closed_when_evidence_is_corrected(practice: Practice) -> None:
    (sent,) = practice.send(image("spleen", "long"))
    optional = practice.task("hepatic_lymph_nodes")
    with practice.books.begin(practice.organization) as work:
        rewrite(work, [{**optional, "status": "cancelled"}])
    practice.change(sent, view=coded(uris.PLANE, "short"))
    assert practice.task("hepatic_lymph_nodes")["status"] == "cancelled"
    assert live(practice.task("spleen")) == ["still", "plane:short"]


def test_unknown_sex_is_asked_and_never_guessed(books: Any, organization: str) -> None:
    practice = Practice(books, organization)
    practice.place(sex="", neutered="")
    before = practice.tasks()
    assert {"ask_sex", "ask_neuter"} <= set(before)
    assert not {"uterus", "prostate", "uterine_stump", "ovary_left", "testes"} & set(before)
    assert owed(before["ask_sex"]) == ["statement:sex"]
    practice.send(image("uterus", "long"))
    assert entered(practice.whole()) == ["outside:uterus"]
    practice.settle("ask_sex", sex="female")
    practice.settle("ask_neuter", neutered=False)
    after = practice.tasks()
    assert {"uterus", "ovary_left", "ovary_right"} <= set(after)
    assert live(after["uterus"]) == ["still", "plane:long"], "the image that waited has found its step"
    assert live(practice.whole()) == []
    (answer,) = observations(practice, after["ask_sex"])
    assert answer["valueCodeableConcept"]["coding"] == [{"system": uris.GENDER, "code": "female"}]


def test_a_corrected_answer_shelves_steps_and_takes_them_up_again(books: Any, organization: str) -> None:
    practice = Practice(books, organization)
    practice.place(sex="", neutered="neutered")
    practice.settle("ask_sex", sex="female")
    practice.send(image("uterine_stump", "long"))
    stump = practice.task("uterine_stump")
    practice.settle("ask_sex", sex="male")
    tasks = practice.tasks()
    assert business(tasks["uterine_stump"]) == ("cancelled", "out-of-scope")
    assert business(tasks["prostate_neutered"]) == ("ready", "not-yet")
    practice.settle("ask_sex", sex="female")
    again = practice.task("uterine_stump")
    assert (again["id"], live(again), business(again)) == (stump["id"], ["still", "plane:long"], ("ready", "partly"))
    assert business(practice.task("prostate_neutered")) == ("cancelled", "out-of-scope")


def test_the_answer_may_come_as_an_observation(books: Any, organization: str) -> None:
    practice = Practice(books, organization)
    practice.place(sex="male", neutered="intact")
    assert "retained_testis" not in practice.tasks()
    counted = {
        "resourceType": "Observation",
        "status": "preliminary",
        "code": coded(uris.NOTE, "testes"),
        "valueInteger": 1,
        "effectiveDateTime": "2026-11-25T10:00:00Z",
    }
    practice.send(counted)
    assert business(practice.task("ask_testes")) == ("completed", "seen")
    assert business(practice.task("retained_testis")) == ("ready", "not-yet")


def test_a_disposition_may_come_as_an_observation(practice: Practice) -> None:
    unseen = {
        "resourceType": "Observation",
        "status": "preliminary",
        "code": coded(uris.DISPOSITION, "not-seen"),
        "bodySite": coded(uris.STRUCTURE, "adrenal_left"),
        "dataAbsentReason": {"coding": [{"system": uris.REASON, "code": "gas"}]},
        "effectiveDateTime": "2026-11-25T10:00:00Z",
    }
    (sent,) = practice.send(unseen)
    assert business(practice.task("adrenal_left")) == ("completed", "not-seen")
    practice.change(sent)
    assert entered(practice.task("adrenal_left")) == ["disposition:not-seen"]
    practice.change(sent, status="entered-in-error")
    assert business(practice.task("adrenal_left")) == ("ready", "not-yet")
    with pytest.raises(RuleBroken, match="A reason is needed"):
        practice.send({**unseen, "dataAbsentReason": coded(uris.DATA_ABSENT, "unknown")})


def test_everything_written_is_valid_to_others(practice: Practice) -> None:
    practice.settle("spleen", disposition="seen", plane=["long", "short"], window="left intercostal")
    practice.settle("pancreas_left", disposition="seen-part", reason="stomach-full", station=7)
    practice.settle(
        "adrenal_left", disposition="not-seen", reason="wound-dressing", detail="bandage", performer="Dr. I"
    )
    practice.settle("gallbladder", disposition="absent-surgical", operation="cholecystectomy", detail="owner's word")
    practice.settle("kidney_right", disposition="absent-unexplained", detail="both sides searched")
    practice.settle("common_bile_duct", disposition="deferred", window="right intercostal")
    practice.settle("kidney_left", item="clip", reason="kept-on-scanner")
    tasks = practice.tasks()
    written = [o for code in tasks for o in _made(practice, tasks[code])]
    assert len(written) >= 12
    for resource in [practice.whole(), *tasks.values(), *written]:
        assert validate.check(resource) == []
        assert faults(resource) == []
    for observation in written:
        assert validate.profile(observation) == []


def _made(practice: Practice, task: Json) -> Iterable[Json]:
    return observations(practice, task) if "output" in task else []


def test_twenty_taps_at_once_are_one(practice: Practice) -> None:
    task = practice.task("spleen")["id"]
    parameters = parameters_of({"disposition": "not-seen", "reason": "gas"})

    def tap(_: int) -> Json:
        return settle(practice.house, practice.caller, task, parameters)

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(tap, range(20)))
    assert {str(a) for a in answers} == {str(answers[0])}
    assert entered(practice.task("spleen")) == ["disposition:not-seen"]
