"""Turns the facts of one exam into its report: sections in the catalogue's order, each a list of statements."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from service.exam import report_words as words
from service.exam.report_cautions import cautions
from service.exam.report_changes import changed, lines
from service.exam.report_closing import (
    authored,
    conclusion_section,
    images_section,
    notices,
    signature_section,
    status_words,
)
from service.exam.report_facts import Edition, Preparation, Replaced, ReportFacts
from service.exam.report_findings import findings_section
from service.exam.report_limits import limits_section, not_examined
from service.exam.report_opening import identity_section, preparation_section, question_section
from service.exam.report_parts import Line, Measurement, Report, Rules, Section, Statement
from service.exam.report_phrases import label
from service.exam.report_step import Ended
from service.exam.report_step import ended as ended_steps
from service.exam.report_trend import comparison_section
from service.exam.report_unseen import Unseen, titles, unseen
from service.exam.report_urgent import urgent_notices, urgent_section

__all__ = [
    "Edition",
    "Line",
    "Measurement",
    "Preparation",
    "Replaced",
    "Report",
    "ReportFacts",
    "Rules",
    "Section",
    "Statement",
    "changed",
    "compose",
    "lines",
]

NAMED_IN_BRIEF = 6
TITLES = {
    **dict.fromkeys(("registered", "partial", "preliminary"), "Preliminary report"),
    "entered-in-error": "Withdrawn report",
}
WRITERS: dict[str, Callable[..., Section]] = {
    "identity": identity_section,
    "question": question_section,
    "preparation": preparation_section,
    "comparison": comparison_section,
    "conclusion": conclusion_section,
    "urgent": urgent_section,
    "signature": signature_section,
    "images": images_section,
}
AUTHORED: dict[str, Callable[[ReportFacts], tuple[str, ...]]] = {
    "differentials": lambda facts: facts.differentials,
    "recommendations": lambda facts: facts.recommendations,
    "procedures": lambda facts: facts.procedures,
}


def compose(facts: ReportFacts, rules: Rules) -> Report:
    """The report of an exam by the catalogue it was opened with; sections without a statement are left out.

    Raises ValueError when the catalogue names a section that nobody writes."""
    known = {*WRITERS, *AUTHORED, "limits", "findings"}
    unknown = [key for key, _ in rules.sections if key not in known]
    if unknown:
        raise ValueError(f"no writer for report section {', '.join(unknown)}")
    ended = ended_steps(facts.steps)
    sorted_out = unseen(ended, rules)
    found = findings_section(facts, rules, title=dict(rules.sections).get("findings", ""), ended=ended)
    sections = tuple(_section(k, facts, rules=rules, title=t, ended=ended, findings=found) for k, t in rules.sections)
    return Report(
        title=f"{TITLES.get(facts.edition.status, 'Report')}: {words.lower(facts.service.title)}",
        status_words=status_words(facts),
        notices=(*urgent_notices(facts, rules), *notices(facts)),
        brief=_brief(facts, sorted_out, rules),
        sections=tuple(s for s in sections if s.statements),
        cautions=cautions(facts, rules, findings=found, unseen=sorted_out),
        animal=replace(facts.animal, name=words.one_line(facts.animal.name)),
        animal_words=_animal(facts),
        service=facts.service,
        edition=_cleaned(facts.edition),
        exam=facts.exam,
        started=facts.started,
        issued=facts.issued,
        issued_words=words.moment(facts.issued, zone=facts.zone),
        practice=words.one_line(facts.practice),
        interpreter=words.one_line(facts.interpreter),
        conclusions=tuple(t for t in (words.clean(c) for c in facts.conclusions) if t),
        language=facts.language,
    )


def _section(key: str, facts: ReportFacts, *, rules: Rules, title: str, ended: Ended, findings: Section) -> Section:
    if key == findings.key:
        return findings
    if key == "limits":
        return limits_section(facts, rules, title=title, ended=ended, findings=findings)
    if key in AUTHORED:
        return authored(key, title, texts=AUTHORED[key](facts), numbered=key == "differentials")
    return WRITERS[key](facts, rules, title=title, ended=ended)


def _cleaned(edition: Edition) -> Edition:
    return replace(
        edition,
        reason=words.clean(edition.reason),
        by=words.one_line(edition.by),
        changes=tuple(filter(None, map(words.clean, edition.changes))),
        told=tuple(filter(None, map(words.one_line, edition.told))),
    )


def _animal(facts: ReportFacts) -> str:
    """The animal in one line: name, species, sex, first identifier, owner."""
    animal = facts.animal
    owner = f"owner {facts.owner}" if facts.owner else "owner not stated"
    number = animal.identifiers[0].value if animal.identifiers else "no identifier"
    name = animal.name or "Name not stated"
    return ", ".join(words.one_line(p) for p in (name, animal.species, words.sex(animal), number, owner))


def _brief(facts: ReportFacts, sorted_out: Unseen, rules: Rules) -> tuple[str, ...]:
    """The limits in a line each, for whoever reads no further than the conclusion."""
    pairs = (
        (not_examined(facts, rules), sorted_out.left),
        (label(rules.phrases, "sought"), sorted_out.sought),
        (label(rules.phrases, "missing"), sorted_out.missing),
        (label(rules.phrases, "part"), sorted_out.part),
    )
    told = [f"{head}: {_named(titles(ended))}." for head, ended in pairs if ended]
    limited = "" if facts.service.scope == "full" else "Limited examination: only what was ordered was examined."
    return tuple(filter(None, (limited, *told)))


def _named(names: Sequence[str]) -> str:
    if len(names) <= NAMED_IN_BRIEF:
        return "; ".join(names)
    first = "; ".join(names[:NAMED_IN_BRIEF])
    return f"{len(names)} structures, named under the limits below, among them {first}"
