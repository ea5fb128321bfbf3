"""The dog's survey from station 1 to 10, with all that comes between: gas, sludge, a slip of the unit, a wrong tap."""

from collections.abc import Callable, Mapping

from service.demo import evidence, invented, scanner
from service.demo.chapters import surveying
from service.demo.chapters.acts import send, settle_step, standing, step_of
from service.demo.client import Json
from service.demo.stage import Exam, Stage

WINDOW = "left flank, lying on the right side"


def examine(stage: Stage, exam: Exam) -> None:
    """Prepare the animal and go through all ten stations."""
    _prepare(stage, exam)
    for number in range(1, 11):
        here = surveying.steps(stage, exam, number)
        stage.tell.heading(f"Station {str(here[0]['description']).partition(': ')[0]}")
        BEFORE.get(number, _nothing)(stage, exam)
        sent = surveying.station(stage, exam, number)
        if number == 1:
            _twice(stage, sent)


def _prepare(stage: Stage, exam: Exam) -> None:
    stage.tell.say(
        f"{invented.SONOGRAPHER}, scans. Images come as Media, measurements and findings as Observation, all for the "
        'order, in any sequence; each settles what it proves on its step. "All as expected at this station" is one '
        "act of a person: it fills in what has exactly one expected answer and was not said otherwise; no more."
    )
    said = [
        evidence.note(exam, "sedation", "light sedation, invented protocol"),
        evidence.note(exam, "fasting", "fasted for 10 hours"),
        evidence.weight(exam),
    ]
    told = f"sedation given; fasted for 10 hours; weight {exam.case.weight} kg, with every digit as sent"
    send(stage, said, told=told)


def _twice(stage: Stage, sent: Json) -> None:
    """The same transaction again."""
    answer = stage.scanner.post("", sent)
    stage.tell.sent("POST /fhir", "the same transaction again, as after a lost connection")
    stage.tell.came(200, f"all {answer.statuses.count(200)} were here already; nothing changed.")


def _kept_on_scanner(stage: Stage, exam: Exam) -> None:
    settle_step(
        stage, exam, "liver_right", item="clip", reason="kept-on-scanner",
        told="the clip is excused: it was kept on the scanner",
    )  # fmt: skip


def _sludge_and_gas(stage: Stage, exam: Exam) -> None:
    seen = [
        evidence.finding(exam, "gallbladder", "gallbladder.content.sludge-moderate"),
        evidence.finding(exam, "gallbladder", "gallbladder.layering.layered"),
        evidence.measurement(exam, "gallbladder", "sludge-share"),
    ]
    send(
        stage, seen, told="gallbladder: layered sludge in 30 % of the lumen. It is not as expected, so it is said first"
    )
    settle_step(
        stage, exam, "common_bile_duct", disposition="deferred", reason="gas", station=7,
        told="gas lies over the bile duct: put off to station 7. It stays owed",
    )  # fmt: skip


def _wrong_tap(stage: Stage, exam: Exam) -> None:
    said = {"disposition": "not-seen", "reason": "gas"}
    settle_step(stage, exam, "spleen", told='a wrong tap with wet gloves: "not seen: gas"', **said)
    task = settle_step(stage, exam, "spleen", retract=True, told="taken back at once; the step is open again")
    kept = [o for o in task["output"] if str(o["type"]["coding"][0]["code"]).startswith("retracted:")]
    stage.tell.item(f"what was said and taken back stays on record in the step's history: {len(kept)} entry")


def _adrenal_behind_gas(stage: Stage, exam: Exam) -> None:
    settle_step(
        stage, exam, "adrenal_left", disposition="deferred", reason="gas", window=WINDOW,
        told=f"gas over the left adrenal gland: put off to another window ({WINDOW})",
    )  # fmt: skip


def _stump(stage: Stage, exam: Exam) -> None:
    settle_step(
        stage, exam, "uterine_stump", disposition="not-seen", reason="not-identified-normal",
        told="uterine stump: looked for, not seen (commonly invisible when normal)",
    )  # fmt: skip


def _doppler(stage: Stage, exam: Exam) -> None:
    answer = stage.scanner.post("Observation", evidence.measurement(exam, "kidney_right", "resistive-index"))
    index = exam.case.measures["kidney_right.resistive-index"]
    stage.tell.sent("POST /fhir/Observation", f"Doppler of the right kidney: resistive index {index}")
    stage.tell.came(answer.status, "stored; it shows that Doppler was used, which is charged apart.")


def _second_look(stage: Stage, exam: Exam) -> None:
    window = "right intercostal"
    seen = [scanner.SEEN[f"common_bile_duct.{attribute}"] for attribute in ("visibility", "content")]
    look = [
        evidence.still(exam, "duodenal_papilla", "short", station=7, window=window),
        evidence.measurement(exam, "duodenal_papilla", "duct-diameter", station=7, window=window),
        evidence.still(exam, "common_bile_duct", "long", station=7, window=window),
        *(evidence.finding(exam, "common_bile_duct", value, station=7, window=window) for value in seen),
    ]
    send(stage, look, told="the bile duct that was put off, now seen between the right ribs, 2.10 mm at the papilla")
    stage.tell.item(f"{standing(step_of(stage, exam, 'common_bile_duct'))}; that it was put off stays on record")
    settle_step(
        stage, exam, "pancreas_left", disposition="seen-part", reason="gas",
        told="left lobe of the pancreas: seen in part only, gas",
    )  # fmt: skip


def _centimetres(stage: Stage, exam: Exam) -> None:
    slip = evidence.measurement(exam, "jejunum", "wall-thickness", plane="short", value="12", unit="cm")
    stage.tell.sent("POST /fhir/Observation", "wall of the jejunum: 12 cm, a slip of the unit")
    answer = stage.scanner.refused("Observation", slip, status=422)
    stage.tell.came(422, "refused, nothing stored:")
    stage.tell.items(answer.issues)


def _nothing(stage: Stage, exam: Exam) -> None:
    """Most stations begin with the scan."""


BEFORE: Mapping[int, Callable[[Stage, Exam], None]] = {
    1: _kept_on_scanner,
    2: _sludge_and_gas,
    3: _wrong_tap,
    4: _adrenal_behind_gas,
    5: _stump,
    6: _doppler,
    7: _second_look,
    8: _centimetres,
}
