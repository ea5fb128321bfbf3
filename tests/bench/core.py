"""The pure core of a full exam (verdicts, results, the report's words) against the whole of its $finish; and a PDF."""

import gc
from functools import partial
from statistics import median
from typing import Any

from service.actions.case import Case, open_case
from service.actions.derive_inputs import Inputs, read_inputs
from service.actions.derive_scope import Scope, scope
from service.actions.judge import Judge, known_of
from service.actions.reporting import Signature, facts, seen
from service.actions.survey_sheet import open_sheet
from service.exam.derived import derive
from service.exam.evidence import Evidence
from service.exam.report import Edition, Report, ReportFacts, compose
from service.fhir.printing.press import press
from service.fhir.writing.report import Party
from service.fhir.writing.report_print import printed
from tests.bench import exam
from tests.bench.house import SLUG, Practice
from tests.bench.measuring import Line, Run, seconds

SHARE = 0.10
MILLISECONDS = 150
AT = "2026-11-25T12:00:00Z"
TIMES = 20


def lines(engine: str, url: str, *, rounds: int) -> list[Line]:
    """The core's share of $finish, and how long a warm PDF takes."""
    practice = Practice(url)
    gc.collect()
    try:
        found = [_round(practice) for _ in range(max(3, rounds // 4))]
    finally:
        practice.close()
    core, finishing, printing = (median(column) for column in zip(*found, strict=True))
    return [
        Line(
            "core: judging, computing, words / $finish", engine, f"{core * 1e6:,.0f} us", f"{finishing * 1000:.1f} ms",
            core / finishing, SHARE,
        ),
        Line(
            "PDF of the report, warm", engine, f"{printing * 1000:.0f} ms", f"{MILLISECONDS} ms",
            printing * 1000 / MILLISECONDS, 1.0,
        ),
    ]  # fmt: skip


def _round(practice: Practice) -> tuple[float, float, float]:
    order, animal, task = practice.placed(exam.order())
    practice.take(exam.evidence(order, animal))
    practice.complete((order, animal, task))
    case, sheet, inputs, wanted = _read(practice, task)
    said = facts(case, seen(case), Signature(Party("", "Dr M. Reader"), ("As expected.",)), started=AT, issued=AT,
                 edition=Edition())  # fmt: skip
    core: list[Run] = [
        partial(_judged, case),
        partial(_derived, sheet, inputs, wanted),
        partial(_composed, said, case),
    ]
    cost = sum(median([seconds(one) for _ in range(TIMES)]) for one in core)
    report = _composed(said, case)
    press()(printed(report))
    printing = seconds(lambda: press()(printed(report)))
    return cost, seconds(lambda: practice.finish(task)), printing


def _read(practice: Practice, task: str) -> tuple[Case, Any, Inputs, Scope]:
    with practice.books.begin(SLUG) as work:
        found = work.exam(task)
        assert found is not None
        sheet = open_sheet(practice.house, work, found)
        places = {(s.rule.structure, m) for s in sheet.steps for m in (*s.rule.measures, *s.rule.may_measure)}
        wanted = scope(sheet, frozenset(places))
        inputs = read_inputs(work, sheet, wanted, sent=())
        return open_case(practice.house, work, practice.caller, found), sheet, inputs, wanted


def _judged(case: Case) -> None:
    judging = Judge(case.catalogue, known_of(case, at=AT))
    for one in case.observations:
        for part in case.understood(one):
            if isinstance(part, Evidence):
                for item in part.items:
                    if item.startswith("measure:"):
                        judging.verdict(part, item.partition(":")[2])


def _derived(sheet: Any, inputs: Inputs, wanted: Scope) -> None:
    rules = sheet.rules
    derive(
        inputs.readings,
        computations=wanted.computations,
        averaged=rules.formulas.get("MEAN"),
        measures=rules.measures,
        facts=inputs.facts,
    )


def _composed(said: ReportFacts, case: Case) -> Report:
    return compose(said, case.catalogue)
