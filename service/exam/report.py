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
from service.exam.report_facts import Edition, Preparation, ReportFacts
from service.exam.report_findings import findings_section
from service.exam.report_limits import limits_section, partly_seen_titles, unseen_titles
from service.exam.report_opening import identity_section, preparation_section, question_section
from service.exam.report_parts import Line, Measurement, Report, Rules, Section, Statement

__all__ = [
    "Edition",
    "Line",
    "Measurement",
    "Preparation",
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
WRITERS: dict[str, Callable[..., Section]] = {
    "identity": identity_section,
    "question": question_section,
    "preparation": preparation_section,
    "limits": limits_section,
    "findings": findings_section,
    "comparison": lambda facts, rules, *, title: authored("comparison", title, texts=facts.comparison),
    "conclusion": conclusion_section,
    "differentials": lambda facts, rules, *, title: authored(
        "differentials", title, texts=facts.differentials, numbered=True
    ),
    "recommendations": lambda facts, rules, *, title: authored("recommendations", title, texts=facts.recommendations),
    "procedures": lambda facts, rules, *, title: authored("procedures", title, texts=facts.procedures),
    "urgent": lambda facts, rules, *, title: authored("urgent", title, texts=facts.urgent),
    "signature": signature_section,
    "images": images_section,
}


def compose(facts: ReportFacts, rules: Rules) -> Report:
    """The report of an exam by the catalogue it was opened with; sections without a statement are left out.

    Raises ValueError when the catalogue names a section that nobody writes."""
    unknown = [key for key, _ in rules.sections if key not in WRITERS]
    if unknown:
        raise ValueError(f"no writer for report section {', '.join(unknown)}")
    sections = tuple(WRITERS[key](facts, rules, title=title) for key, title in rules.sections)
    found = next((s for s in sections if s.key == "findings"), Section("findings", "", ()))
    return Report(
        title=f"Report: {words.lower(facts.service.title)}",
        status_words=status_words(facts),
        notices=notices(facts),
        brief=_brief(facts, rules),
        sections=tuple(s for s in sections if s.statements),
        cautions=cautions(facts, rules, findings=found),
        animal=facts.animal,
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


def _brief(facts: ReportFacts, rules: Rules) -> tuple[str, ...]:
    """The limits in a line or two, for whoever reads no further than the conclusion."""
    pairs = (
        ("Not examined or not seen", unseen_titles(facts, rules)),
        ("Seen in part only", partly_seen_titles(facts)),
    )
    told = [f"{head}: {_named(titles)}." for head, titles in pairs if titles]
    limited = "" if facts.service.scope == "full" else "Limited examination: only what was ordered was examined."
    return tuple(filter(None, (limited, *told)))


def _named(titles: Sequence[str]) -> str:
    if len(titles) <= NAMED_IN_BRIEF:
        return "; ".join(titles)
    first = "; ".join(titles[:NAMED_IN_BRIEF])
    return f"{len(titles)} structures, named under the limits below, among them {first}"
