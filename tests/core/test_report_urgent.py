"""The section on urgent findings, read aloud: who decided, who was told, how and when, and that it was received."""

from dataclasses import replace
from datetime import UTC

import pytest

from service.exam.report import compose
from service.exam.report_facts import Edition
from service.exam.urgent_record import Attempt, UrgentRecord
from tests.builders.report_facts import FACTS, ROWS

AT = "2026-11-25T10:00:00Z"
SUGGESTED = UrgentRecord(
    "Task/a",
    "gb-rupture",
    "Gallbladder wall discontinuous, or fluid, bright fat or bile around it",
    1,
    "suggested",
    AT,
    because=("Gallbladder: wall discontinuous", "Gallbladder: fluid around the gallbladder"),
)
CONFIRMED = replace(
    SUGGESTED,
    state="confirmed",
    decided_by="Examiner",
    message="Task/b",
    message_state="waiting",
    responsible="Dr A. Sker",
)
TOLD = replace(
    CONFIRMED,
    message_state="acknowledged",
    communicated_by="Examiner",
    communicated_to="Dr A. Sker",
    method="voice",
    communicated_at="2026-11-25T10:05:00Z",
    received_at="2026-11-25T10:05:00Z",
    read_back=True,
)
FOUND = "Gallbladder: wall discontinuous. Gallbladder: fluid around the gallbladder. "
WHEN = "25 November 2026, 10:00 (UTC)"
AT_ONCE = f"Identified on {WHEN}, confirmed by Examiner, to be told at once. "


def said(*records: UrgentRecord, status: str = "final") -> tuple[list[str], tuple[str, ...]]:
    """(the statements of the section, what stands above everything else)."""
    facts = replace(FACTS, urgent_records=records, urgent=(), zone=UTC, edition=Edition(status))
    report = compose(facts, ROWS)
    sections = [s for s in report.sections if s.key == "urgent"]
    return [t.text for s in sections for t in s.statements], report.notices


@pytest.mark.parametrize(
    ("record", "words"),
    [
        (SUGGESTED, f"{FOUND}Suggested on {WHEN}. Nobody had decided it when this report was issued."),
        (
            replace(SUGGESTED, state="declined", decided_by="Dr I. Reader", reason="it is a fold"),
            f"{FOUND}Suggested on {WHEN}, declined by Dr I. Reader: It is a fold.",
        ),
        (
            CONFIRMED,
            f"{FOUND}{AT_ONCE}Receipt by Dr A. Sker had not been confirmed when this report was issued.",
        ),
        (
            replace(CONFIRMED, tier=3, responsible="", because=(), state="evidence-withdrawn"),
            f"Identified on {WHEN}, confirmed by Examiner, to be told within days. What it rested on was taken back "
            "since. Receipt had not been confirmed when this report was issued.",
        ),
        (
            replace(
                TOLD,
                attempts=(Attempt("2026-11-25T10:01:00Z", "Examiner", "Dr O. Ther", "voice"),),
                passed_on_to=("Dr B. Oth", "Dr A. Sker"),
            ),
            f"{FOUND}{AT_ONCE}Examiner tried to reach Dr O. Ther "
            "by voice on 25 November 2026, 10:01 (UTC). It was passed on to Dr B. Oth and Dr A. Sker. Dr A. Sker was "
            "told by voice by Examiner on 25 November 2026, 10:05 (UTC). It was read back.",
        ),
        (
            replace(
                TOLD, method="message", read_back=False, received_at="2026-11-25T10:20:00Z", remark="the line is dead"
            ),
            f"{FOUND}{AT_ONCE}Dr A. Sker was told by message by "
            "Examiner on 25 November 2026, 10:05 (UTC). Receipt was confirmed on 25 November 2026, 10:20 (UTC). The "
            "line is dead.",
        ),
    ],
)
def test_a_record_reads_like_this(record: UrgentRecord, words: str) -> None:
    assert said(record)[0] == [words]


def test_what_is_no_longer_supported_is_not_told() -> None:
    assert said(replace(SUGGESTED, state="unsupported")) == ([], ())


def test_only_what_nobody_has_received_stands_above_all_else() -> None:
    notice = (
        "Urgent, to be told at once: gallbladder: wall discontinuous; and gallbladder: fluid around the gallbladder. "
        "Receipt had not been confirmed when this report was issued."
    )
    assert said(CONFIRMED, TOLD, SUGGESTED)[1] == (notice,)
    raised = replace(CONFIRMED, title="Gastric dilatation and volvulus suspected", because=())
    assert said(raised)[1][0].startswith("Urgent, to be told at once: gastric dilatation and volvulus suspected.")
    assert notice not in said(CONFIRMED, status="entered-in-error")[1]
    assert "C14" in dict(compose(replace(FACTS, urgent_records=(CONFIRMED,)), ROWS).cautions)
    assert "C14" not in dict(compose(replace(FACTS, urgent_records=(TOLD,)), ROWS).cautions)
