"""A full exam of each species, reported with the rows that are shipped."""

from dataclasses import replace

import pytest

from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.exam.report import compose
from service.exam.report_values import NOT_ASSESSED
from service.exam.survey import Entry, Step
from service.fhir.writing.report_html import html
from service.fhir.writing.report_text import plain_text
from tests.builders.report_facts import AT, BY, FACTS


@pytest.fixture(scope="module")
def catalogue():  # type: ignore[no-untyped-def]
    return load(read_folder())


def seen(rule, catalogue) -> Step:  # type: ignore[no-untyped-def]
    """The step as one act leaves it: seen, every attribute with one default filled."""
    vocabulary = catalogue.vocabularies[catalogue.structures[rule.structure].vocabulary]
    filled = [
        Entry(f"finding:{a.key}", f"Observation/{rule.code}-{a.key}", AT, BY, value=a.default.code, act="1")
        for a in vocabulary
        if a.default and not a.asked_when
    ]
    return Step(f"task-{rule.code}", rule, (Entry("disposition:seen", "", AT, BY, act="1"), *filled))


@pytest.mark.parametrize("species", ["dog", "cat"])
def test_a_survey_with_nothing_found_is_told_structure_by_structure(species: str, catalogue) -> None:  # type: ignore[no-untyped-def]
    steps = tuple(seen(rule, catalogue) for rule in catalogue.protocols[species].steps)
    facts = replace(FACTS, animal=replace(FACTS.animal, species=species), steps=steps, evidence=())
    report = compose(facts, catalogue)
    findings = next(s for s in report.sections if s.key == "findings")
    assert [s.label for s in findings.statements] == [
        r.title for r in sorted(catalogue.protocols[species].steps, key=lambda r: (r.station, r.sequence))
    ]
    assert {s.kind for s in findings.statements} == {"expected"}
    assert report.brief == ()
    assert "C01" in dict(report.cautions)
    assert "C24" in dict(report.cautions)
    assert all(s.label in html(report) or s.label.replace("'", "&#39;") in html(report) for s in findings.statements)
    assert "expected: as expected" not in plain_text(report)


@pytest.mark.parametrize("species", ["dog", "cat"])
def test_a_survey_in_which_nothing_was_entered_names_every_owed_structure(species: str, catalogue) -> None:  # type: ignore[no-untyped-def]
    rules = catalogue.protocols[species].steps
    facts = replace(FACTS, steps=tuple(Step(r.code, r) for r in rules), evidence=())
    text = plain_text(compose(facts, catalogue))
    assert all(r.title in text for r in rules if not r.settles)
    assert not any(said in text for said in ("of normal size", "is clear", "as expected", "there is no"))
    assert "Every structure" not in text


def test_every_value_of_every_finding_has_a_clause_of_its_own(catalogue) -> None:  # type: ignore[no-untyped-def]
    lacking = [
        (name, attribute.key, value.code)
        for name, attributes in catalogue.vocabularies.items()
        for attribute in attributes
        for value in attribute.values
        if value.code not in NOT_ASSESSED
        and (name, attribute.key, value.code) not in catalogue.clauses
        and ("*", attribute.key, value.code) not in catalogue.clauses
    ]
    assert lacking == []


@pytest.mark.parametrize("species", ["dog", "cat"])
def test_every_expected_value_is_said_in_sentences(species: str, catalogue) -> None:  # type: ignore[no-untyped-def]
    """Each default of each vocabulary is in its statement; several structures are spoken of as several."""
    for rule in catalogue.protocols[species].steps:
        report = compose(replace(FACTS, steps=(seen(rule, catalogue),), evidence=()), catalogue)
        (statement,) = next(s for s in report.sections if s.key == "findings").statements
        many = rule.structure in catalogue.plurals
        assert statement.text.startswith("They were seen" if many else "It was seen")
        assert not set(statement.text) & set("{}")
        wrong = (" it ", " its ", " it is ") if many else (" they ", " their ", " are not ")
        assert not any(word in f" {statement.text.lower()} " for word in wrong), statement.text
        vocabulary = catalogue.structures[rule.structure].vocabulary
        for attribute in (a for a in catalogue.vocabularies[vocabulary] if a.default and not a.asked_when):
            key = (attribute.key, attribute.default.code)
            clause = catalogue.clauses.get((vocabulary, *key)) or catalogue.clauses["*", *key]
            assert clause.rpartition("}")[2].strip().lower() in statement.text.lower()
