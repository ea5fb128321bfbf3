"""Three invented animals, each from its order to a report that can be read aloud: a healthy dog, a sick cat that was
seen before, and a male dog with one scrotal testis whose spleen was removed."""

import os
from base64 import b64decode
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

from service.fhir import exact, uris
from tests.builders import orders
from tests.builders.healthy import Sonographer
from tests.builders.orders import concept, entry, transaction
from tests.whole.telling import Desk, Exam, Json, refusal, result, taken

pytestmark = pytest.mark.sqlite_first

KEPT = os.environ.get("KEEP_REPORTS", "")  # a folder: the reports are left there to be looked at


def seen_by(exam: Exam, **more: Any) -> Sonographer:
    """Whoever scans this animal."""
    scanner = exam.scanner
    return Sonographer(exam.order, exam.animal, species=scanner.species, at=scanner.at, **more)


def note(scanner: Sonographer, code: str, **value: Any) -> Json:
    """Something about the animal or its preparation."""
    said = {"resourceType": "Observation", "status": "final", "code": concept(uris.NOTE, code), **value}
    return scanner.about({**said, "effectiveDateTime": scanner.at})


def prepared(scanner: Sonographer, weight: str) -> list[Json]:
    """A fasted, unsedated animal of a weight in kg."""
    kilograms = {"value": exact.decode(weight.encode()), "system": uris.UCUM, "code": "kg", "unit": "kg"}
    return [
        note(scanner, "weight", valueQuantity=kilograms),
        note(scanner, "fasting", valueString="fasted"),
        note(scanner, "sedation", valueString="none"),
    ]


def surveyed(desk: Desk, exam: Exam, scanner: Sonographer, *, but: Iterable[str] = ()) -> None:
    """Send all that is owed, round after round, but for some steps."""
    for _ in range(5):
        resources = scanner.all_of(desk.steps(exam, status="ready").values(), but=but)
        for start in range(0, len(resources), 100):
            taken(desk.note(*resources[start : start + 100]))
        if not resources:
            return
    raise AssertionError(f"still owed: {desk.owed(exam)}")


def read(desk: Desk, reference: str, name: str) -> str:
    """The report as text; its forms are left to be looked at when somebody wants to."""
    report = desk.get(reference)
    forms = {form["contentType"].partition(";")[0]: b64decode(form["data"]) for form in report["presentedForm"]}
    assert {"application/pdf", "text/html", "text/plain"} == set(forms)
    for media, body in forms.items() if KEPT else ():
        ending = {"application/pdf": "pdf", "text/html": "html", "text/plain": "txt"}[media]
        Path(KEPT, f"{name}.{ending}").write_bytes(body)
    return forms["text/plain"].decode()


def flags(desk: Desk, exam: Exam) -> dict[str, str]:
    """structure/measure -> H, L or N, or "" for what is not judged."""
    found = desk.search(
        "Observation", **{"based-on": f"ServiceRequest/{exam.order}", "value-quantity:missing": "false"}
    )
    told = {}
    for one in found:
        measure = next((c["code"] for c in one["code"]["coding"] if c["system"] == uris.MEASURE), "")
        site = next((c["code"] for c in one.get("bodySite", {}).get("coding", []) if c["system"] == uris.STRUCTURE), "")
        told[f"{site}/{measure}"] = next((i["coding"][0]["code"] for i in one.get("interpretation", [])), "")
    return told


def test_a_healthy_dog(desk: Desk) -> None:
    exam = desk.place(
        orders.bundle(
            orders.patient(),
            reasonCode=[{"text": "Check before anaesthesia"}],
            note=[{"text": "Fit for an anaesthetic?"}],
        )
    )
    scanner = seen_by(exam)
    taken(desk.note(*prepared(scanner, "12.4")))
    surveyed(desk, exam, scanner)
    told = desk.finish(exam, conclusion="No abnormality seen.")
    text = read(desk, told["report"], "dog")
    assert {"H", "L"}.isdisjoint(flags(desk, exam).values())
    assert flags(desk, exam)["kidney_left/aorta-ratio"] == "N"
    for words in ("Mareschal", "Melian", "12.4 kg", "fasted", "No abnormality seen."):
        assert words in text, words
    assert "not examined" not in text.lower().replace("structures not examined: none", "")


def test_a_sick_cat_that_was_seen_before(desk: Desk) -> None:
    whole = orders.bundle(orders.patient(species="cat", sex="male"), service="full")
    first = desk.place(whole, species="cat", at="2026-08-03T09:00:00Z")
    earlier = seen_by(first)
    taken(
        desk.note(*prepared(earlier, "4.6"), earlier.measured("common_bile_duct", "diameter-at-porta-hepatis", "3.1"))
    )
    surveyed(desk, first, earlier)
    desk.finish(first, conclusion="No abnormality seen.")

    request = orders.request(f"Patient/{first.animal}", reasonCode=[{"text": "Yellow, off food, vomiting"}])
    exam = desk.exam_of(desk.send(transaction([entry(request)])), species="cat")
    scanner = seen_by(
        exam,
        measures={("common_bile_duct", "diameter-at-porta-hepatis"): "5.6", ("gallbladder", "wall-thickness"): "1.4"},
        words={
            ("common_bile_duct", "visibility"): "dilated",
            ("gallbladder", "wall"): "thick",
            ("gallbladder", "content"): "sludge-moderate",
            ("gallbladder", "layering"): "layered",
            ("gallbladder", "mobility"): "mobile",
        },
    )
    taken(desk.note(*prepared(scanner, "4.1"), note(scanner, "stability", valueString="stable")))
    surveyed(desk, exam, scanner)
    assert flags(desk, exam)["common_bile_duct/diameter-at-porta-hepatis"] == "H"
    words = [w for _, w in refusal(desk.operate(exam.id, "finish", interpreter="Dr I. Reader", conclusion="x"), 422)]
    assert any("biliary obstruction" in w.lower() for w in words)
    (task,) = [t for code, t in desk.steps(exam, status="ready").items() if code == "ehbo"]
    decided = result(taken(desk.operate(task["id"], "urgent", by="S. Scanwell")))
    spoken = {"by": "S. Scanwell", "to": "Dr R. Ferrer", "method": "voice", "readBack": True}
    taken(desk.operate(decided["task"].partition("/")[2], "urgent-acknowledge", **spoken))
    told = desk.finish(
        exam,
        conclusion=["Wide bile duct and thick gallbladder wall.", "Sludge that moves, a common finding."],
        differential="Obstruction of the bile duct; inflammation of the bile ducts",
        recommendation="Look again at the papilla after treatment, within two days.",
    )
    text = read(desk, told["report"], "cat")
    for words_ in ("5.6 mm", "Leveille", "3.1 mm", "Dr R. Ferrer", "biliary obstruction", "3 August 2026"):
        assert words_.lower() in text.lower(), words_


def test_a_male_dog_with_one_scrotal_testis_and_no_spleen(desk: Desk) -> None:
    animal = orders.patient(sex="male", neutered="intact")
    made = taken(desk.send(transaction([entry(animal)])))
    patient = exact.decode(made.content)["entry"][0]["response"]["location"].partition("/fhir/")[2].split("/")[1]
    operation = {
        "resourceType": "Procedure",
        "status": "completed",
        "code": concept(uris.SURGERY, "splenectomy"),
        "subject": {"reference": f"Patient/{patient}"},
        "performedDateTime": "2024-03-01",
    }
    taken(desk.send(operation))
    request = orders.request(f"Patient/{patient}", reasonCode=[{"text": "One testis in the scrotum"}])
    exam = desk.exam_of(desk.send(transaction([entry(request)])))
    scanner = seen_by(exam, words={("retained_testis", "finding"): "inguinal"})
    taken(desk.note(*prepared(scanner, "14.0"), note(scanner, "testes", valueInteger=1)))
    assert "retained_testis" in desk.steps(exam)
    taken(desk.settle(exam, "spleen", disposition="absent-surgical"))
    length = scanner.measured("retained_testis", "length", "14.5")
    taken(desk.note(length, scanner.measured("retained_testis", "width", "9.1")))
    surveyed(desk, exam, scanner, but=("splenic_vein",))
    if "splenic_vein" in desk.steps(exam, status="ready"):
        taken(desk.settle(exam, "splenic_vein", disposition="absent-surgical"))
    told = desk.finish(exam, conclusion=["Undescended left testis at the inguinal ring.", "Spleen removed in 2024."])
    text = read(desk, told["report"], "male-dog")
    for words in ("splenectomy", "2024-03-01", "inguinal", "14.5 mm"):
        assert words in text, words


@pytest.fixture(scope="module", autouse=True)
def _folder() -> None:
    if KEPT:
        Path(KEPT).mkdir(parents=True, exist_ok=True)
