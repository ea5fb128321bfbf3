"""Measurements in a report stand beside the limit that holds for this animal, or the reason why none does."""

from dataclasses import replace
from decimal import Decimal

import pytest

from service.exam.circumstances import Circumstances
from service.exam.evidence import Evidence, Sighting
from service.exam.limits import Band, Disagreement, Limit, Source
from service.exam.report import Report, ReportFacts, compose
from service.exam.report_changes import full_text
from tests.builders.report_facts import ROWS, entry, measured, step, with_steps

DOG = Circumstances("dog", "male", True, age_months=80, weight_kg=Decimal("12.40"), weight_days=5)
LIMIT = Limit(
    "T-1", ("spleen",), "thickness", ("dog",), "thickness", "mm", high=Decimal("20.0"), flags=frozenset("H"),
    in_force=("dog",), band=Band(Decimal(10), Decimal(15), words="10-15 kg"), statistic="upper limit",
    source=Source("Invented A, Other B", "2019", "J Invented 1:1", "Spleens of dogs"),
)  # fmt: skip
RULES = replace(ROWS, limits={("dog", "spleen", "thickness"): (LIMIT,)}, judging={"weight-days": 30})
SPLEEN = step("spleen", "Spleen", entry("measure:thickness", source="Observation/s3"), station=3)


def facts(amount: str, circumstances: Circumstances | None = DOG, **more: object) -> ReportFacts:
    seen = measured("Observation/s3", amount)
    seen = replace(seen, sighting=replace(seen.sighting, **more))
    return replace(with_steps(SPLEEN, evidence=(seen,)), circumstances=circumstances)


def told(report: Report, key: str) -> list[str]:
    return [f"{s.label}: {full_text(s)}" for one in report.sections if one.key == key for s in one.statements]


@pytest.mark.parametrize(("amount", "mark"), [("20.1", "above the limit"), ("20.0", "within the limit")])
def test_a_value_is_told_with_its_limit_for_whom_and_by_whom(amount: str, mark: str) -> None:
    (said,) = told(compose(facts(amount), RULES), "findings")
    assert f"thickness {amount} mm (short axis), {mark}; expected: at most 20.0 mm (10-15 kg; Invented 2019)" in said


def test_what_lies_beyond_its_limit_comes_first_and_is_marked() -> None:
    report = compose(facts("20.1"), RULES)
    (statement,) = next(s for s in report.sections if s.key == "findings").statements
    assert (statement.kind, statement.lead) == ("noted", "Above the limit: thickness 20.1 mm.")
    assert statement.measurements[0].flag == "H"


def test_the_flag_comes_from_the_unrounded_value() -> None:
    assert "above the limit" in told(compose(facts("20.0", unrounded=Decimal("20.04")), RULES), "findings")[0]


def test_a_soft_flag_is_called_a_hint() -> None:
    soft = replace(RULES, limits={("dog", "spleen", "thickness"): (replace(LIMIT, soft=True),)})
    report = compose(facts("20.1"), soft)
    (statement,) = next(s for s in report.sections if s.key == "findings").statements
    assert statement.lead == "Above the limit, as a hint: thickness 20.1 mm."
    assert "a hint only" in statement.measurements[0].limit


def test_why_nothing_was_compared_is_said() -> None:
    heavy = replace(DOG, weight_kg=Decimal(40))
    report = compose(facts("25", heavy), RULES)
    (said,) = told(report, "findings")
    assert "not compared: invented 2019 gives no limit for the weight of 40 kg: 10-15 kg" in said.replace("Inv", "inv")
    assert "C03" in dict(report.cautions)
    assert "C02" not in dict(report.cautions)
    assert "No measurement in this report was compared" in " ".join(told(report, "limits"))


def test_a_measurement_without_any_limit_says_so_in_two_words() -> None:
    report = compose(facts("25"), ROWS)
    assert "thickness 25 mm (short axis), no limit." in told(report, "findings")[0]
    assert "C03" not in dict(report.cautions)


def test_the_limits_section_counts_names_sources_and_says_where_they_disagree() -> None:
    row = Disagreement("Spleen, dog", ("dog",), ("spleen",), ("thickness",), "20", "22", "21 flips", "use 20")
    said = told(compose(facts("20.1"), replace(RULES, disagreements=(row,))), "limits")
    assert any("1 of 1 measurement was compared with a limit." in one for one in said)
    assert "Sources disagree on: Spleen, dog (in force here: Invented 2019)." in said
    assert "Source of the limit: Invented A, Other B (2019). Spleens of dogs. J Invented 1:1." in said


@pytest.mark.parametrize(("change", "caution"), [({"age_months": 6}, "C04"), ({"weight_days": 31}, "C15")])
def test_cautions_that_hang_on_the_animal(change: dict[str, int], caution: str) -> None:
    assert caution not in dict(compose(facts("1"), RULES).cautions)
    assert caution in dict(compose(facts("1", replace(DOG, **change)), RULES).cautions)


def test_how_old_the_weight_is_is_told() -> None:
    identity = told(compose(facts("1"), RULES), "identity")
    assert "Weight: 12.40 kg (weighed 20 November 2026, 5 days before the examination)" in identity


def test_what_a_sent_result_contradicts_is_told_beside_it() -> None:
    report = compose(facts("20", differs=("Its own inputs give 18 mm: a sum",)), RULES)
    assert "Its own inputs give 18 mm: a sum." in told(report, "findings")[0]
    assert "C16" in dict(report.cautions)


def test_the_place_within_a_structure_is_told() -> None:
    seen = Evidence(Sighting("Observation/s3", "observation", quantity=Decimal(3), unit="mm", place="head"), "spleen",
                    ("measure:thickness",))  # fmt: skip
    one = replace(with_steps(SPLEEN, evidence=(seen,)), circumstances=DOG)
    assert (
        "thickness 3 mm (at the head)"
        in told(compose(one, replace(RULES, places={"head": "at the head"})), "findings")[0]
    )
