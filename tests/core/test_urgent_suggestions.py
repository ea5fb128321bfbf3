"""What is recorded suggests urgent findings, and nothing more: they follow their evidence, and a person decides."""

import pytest

from service.actions import rederiving
from service.actions.decide_urgent import decide
from service.fhir import uris
from tests.builders.survey import Json, Practice, business, coded, entered, finding, measurement, owed, parameters_of


@pytest.fixture
def practice(books: object, organization: str) -> Practice:
    return Practice(books, organization)


def urgent(practice: Practice) -> dict[str, Json]:
    """The Tasks of the exam's urgent findings by code."""
    named = [o for o in practice.whole().get("output", []) if o["type"]["coding"][0]["code"].startswith("urgent:")]
    tasks = [practice.get(o["valueReference"]["reference"]) for o in named]
    return {t["code"]["coding"][0]["code"]: t for t in tasks}


def note(key: str, value: str) -> Json:
    return {
        "resourceType": "Observation",
        "status": "preliminary",
        "code": coded(uris.NOTE, key),
        "effectiveDateTime": "2026-11-25T10:00:00Z",
        "valueString": value,
    }


def test_a_finding_suggests_what_its_row_says_and_rests_on_it(practice: Practice) -> None:
    practice.place()
    (source,) = practice.send(finding("gallbladder", "gallbladder.wall.discontinuous"))
    ((code, task),) = urgent(practice).items()
    assert code == "gb-rupture"
    assert business(task) == ("ready", "suggested")
    assert (task["intent"], task["priority"]) == ("proposal", "stat")
    assert task["partOf"] == [{"reference": f"Task/{practice.exam}"}]
    assert owed(task) == ["decision"]
    (because,) = task["output"]
    assert because["valueReference"]["reference"] == source
    assert "Gallbladder: wall discontinuous" in str(because)
    period = task["restriction"]["period"]
    assert period["start"] == task["authoredOn"]
    assert period["end"] > period["start"]


def test_what_is_as_expected_suggests_nothing(practice: Practice) -> None:
    practice.place()
    practice.send(
        finding("gallbladder", "gallbladder.wall.thin"),
        finding("gallbladder", "gallbladder.content.sludge-mild"),  # a little sludge in a dog: common practice
        finding("peritoneum", "peritoneum.fluid.none"),
        measurement("kidney_left", "pelvis-width", "12.9"),
        measurement("jejunum", "lumen-diameter", "15"),
    )
    assert urgent(practice) == {}


@pytest.mark.parametrize(
    ("species", "resource", "code"),
    [
        # d'Anjou 2011: 13 mm and more was always obstruction, dogs and cats
        ("dog", measurement("kidney_left", "pelvis-width", "13"), "ureter-obstruction"),
        ("cat", measurement("kidney_right", "pelvis-width", "1.30", unit="cm"), "ureter-obstruction"),
        # Sharma 2011: above 15 mm, dogs only
        ("dog", measurement("jejunum", "lumen-diameter", "15.1"), "obstruction"),
        ("cat", measurement("jejunum", "lumen-diameter", "15.1"), ""),
        # Leveille 1996: above 5 mm, cats only
        ("cat", measurement("common_bile_duct", "diameter", "5.1"), "ehbo"),
        ("cat", measurement("common_bile_duct", "diameter", "5"), ""),
        ("dog", measurement("common_bile_duct", "diameter", "5.1"), ""),
        ("dog", finding("gallbladder", "gallbladder.mucocele-pattern.kiwi"), "mucocele"),
        ("cat", finding("gallbladder", "gallbladder.mucocele-pattern.kiwi"), ""),
        ("cat", finding("spleen", "spleen.focal-lesions.mass"), "mass-new"),
    ],
)
def test_limits_hold_to_the_last_digit_and_for_the_species_of_their_source(
    practice: Practice, species: str, resource: Json, code: str
) -> None:
    practice.place(species=species)
    practice.send(resource)
    assert list(urgent(practice)) == ([code] if code else [])


def test_it_follows_its_evidence(practice: Practice) -> None:
    practice.place()
    (source,) = practice.send(measurement("kidney_left", "pelvis-width", "13.2"))
    task = urgent(practice)["ureter-obstruction"]
    version = task["meta"]["versionId"]
    practice.send(measurement("spleen", "thickness", "15.0"))
    assert urgent(practice)["ureter-obstruction"]["meta"]["versionId"] == version  # nothing new of it
    practice.change(source, valueQuantity={"value": 3, "unit": "mm", "system": uris.UCUM, "code": "mm"})
    gone = urgent(practice)["ureter-obstruction"]
    assert business(gone) == ("cancelled", "unsupported")
    assert entered(gone) == ["retracted:because:kidney_left.pelvis-width"]
    practice.send(measurement("kidney_right", "pelvis-width", "14.0"))
    back = urgent(practice)["ureter-obstruction"]
    assert (back["id"], business(back)) == (task["id"], ("ready", "suggested"))
    assert back["restriction"]["period"]["start"] >= gone["lastModified"]  # its clock begins anew
    (right,) = [o for o in back["output"] if o["type"]["coding"][0]["code"] == "because:kidney_right.pelvis-width"]
    practice.change(right["valueReference"]["reference"], status="entered-in-error")
    assert business(urgent(practice)["ureter-obstruction"]) == ("cancelled", "unsupported")


def test_what_is_not_known_is_not_taken_for_good(practice: Practice) -> None:
    practice.place()
    practice.send(measurement("peritoneum", "fluid-score", "3", unit="{score}"))
    assert business(urgent(practice)["large-bleed"]) == ("ready", "suggested")
    practice.send(note("stability", "stable"))
    assert business(urgent(practice)["large-bleed"]) == ("cancelled", "unsupported")
    practice.send(finding("peritoneum", "peritoneum.fluid-echo.echogenic"))
    assert business(urgent(practice)["large-bleed"]) == ("ready", "suggested")


def test_a_slow_fetal_heart_is_confirmed_by_a_second_count(practice: Practice) -> None:
    practice.place(neutered="intact")
    practice.send(measurement("uterus", "fetal-heart-rate", "179", unit="/min"))
    assert urgent(practice) == {}
    practice.send(measurement("uterus", "fetal-heart-rate", "175", unit="/min"))
    assert len(urgent(practice)["fetal-distress"]["output"]) == 2


def test_a_very_slow_one_needs_none(practice: Practice) -> None:
    practice.place(neutered="intact")
    practice.send(measurement("uterus", "fetal-heart-rate", "159", unit="/min"))
    assert list(urgent(practice)) == ["fetal-distress"]


def test_a_tier_that_the_report_does_not_wait_for_is_not_owed(practice: Practice) -> None:
    practice.place()
    practice.send(finding("adrenal_left", "adrenal.shape.mass"))
    assert business(urgent(practice)["adrenal-mass"]) == ("requested", "suggested")


def test_two_of_one_transaction_are_two(practice: Practice) -> None:
    practice.place()
    practice.send(
        finding("peritoneum", "peritoneum.free-gas.present"), finding("peritoneum", "peritoneum.fluid-echo.echogenic")
    )
    assert set(urgent(practice)) == {"free-gas", "septic-fluid"}
    assert [practice.row().state, practice.row().started] == ["in-progress", "2026-11-25T10:00:00Z"]


def test_a_second_fetus_is_no_second_count_of_the_first(practice: Practice) -> None:
    practice.place(neutered="intact")

    def heard(fetus: str, rate: str) -> Json:
        which = [{"url": uris.X_FETUS, "valueString": fetus}]
        return measurement("uterus", "fetal-heart-rate", rate, unit="/min", extension=which)

    practice.send(heard("A", "170"), heard("B", "175"))
    assert urgent(practice) == {}
    practice.send(heard("B", "172"))
    because = urgent(practice)["fetal-distress"]["output"]
    assert len(because) == 2
    assert "170" not in str(because)


def test_a_score_that_is_computed_suggests_like_one_that_was_sent(practice: Practice) -> None:
    practice.place()
    sites = ("diaphragmaticohepatic", "splenorenal", "cystocolic", "hepatorenal")
    sent = practice.send(*(measurement("peritoneum", f"pocket-depth-{site}", "12") for site in sites))
    task = urgent(practice)["large-bleed"]
    assert business(task) == ("ready", "suggested")
    (because,) = task["output"]
    assert because["valueReference"]["reference"] not in sent  # it rests on the score, an Observation of its own
    assert "abdominal fluid score 4" in str(because)
    small = {"value": 0, "unit": "mm", "system": uris.UCUM, "code": "mm"}
    for one in sent[:2]:
        practice.change(one, valueQuantity=small)
    assert business(urgent(practice)["large-bleed"]) == ("cancelled", "unsupported")


def test_the_record_of_a_lesion_that_is_a_mass_suggests_it(practice: Practice) -> None:
    practice.place()
    kind = {
        "code": coded(uris.ATTRIBUTE, "kind"),
        "valueCodeableConcept": coded(uris.FINDING, "focal_lesion.kind.nodule"),
    }
    record = {
        "resourceType": "Observation",
        "status": "preliminary",
        "code": coded(uris.ATTRIBUTE, "focal-lesion"),
        "bodySite": coded(uris.STRUCTURE, "spleen"),
        "effectiveDateTime": "2026-11-25T10:00:00Z",
        "component": [kind],
    }
    (source,) = practice.send(record)
    assert urgent(practice) == {}
    mass = {**kind, "valueCodeableConcept": coded(uris.FINDING, "focal_lesion.kind.mass")}
    practice.change(source, component=[mass])
    task = urgent(practice)["mass-new"]
    assert "Spleen: focal lesion 1, mass" in str(task["output"])
    practice.change(source, component=[kind])
    assert business(urgent(practice)["mass-new"]) == ("cancelled", "unsupported")


def test_what_is_urgent_does_not_say_when_the_exam_began_and_rows_are_derived_again_as_they_were(
    practice: Practice,
) -> None:
    practice.place()
    decide(practice.house, practice.caller, practice.exam, parameters_of({"finding": "gdv", "by": "Examiner"}))
    assert (practice.row().state, practice.row().started) == ("in-progress", "")
    early = finding("peritoneum", "peritoneum.free-gas.present", at="2026-11-25T08:00:00Z")
    late = finding("spleen", "spleen.size.normal", at="2126-11-25T09:00:00Z")  # a clock that is ahead
    source, _ = practice.send(early, late)
    assert practice.row().started == "2026-11-25T08:00:00Z"
    practice.change(source, status="entered-in-error")
    assert practice.row().started == "2126-11-25T09:00:00Z"
    with practice.books.view(practice.organization) as view:
        exams, steps = rederiving.exams(practice.house, view)
        assert exams == [practice.row()]
        assert sorted(steps, key=lambda s: s.code) == sorted(view.step_keys(practice.exam), key=lambda s: s.code)
