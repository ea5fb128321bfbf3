"""Turns what could not be computed into words: which result, of which structure, and what it lacks."""

from service.exam import report_words as words
from service.exam.formulas import AGE, WEIGHT
from service.exam.readings import Place
from service.exam.report_facts import ReportFacts
from service.exam.report_parts import Rules, Statement
from service.exam.report_phrases import label, say
from service.exam.uncomputed import Uncomputed, uncomputed

LACKS = {WEIGHT: "lacks-weight", AGE: "lacks-age"}


def not_computed(facts: ReportFacts, rules: Rules) -> list[Statement]:
    """One statement for each thing that is lacking, with the results that it kept from being computed."""
    known = facts.circumstances
    found = uncomputed(
        facts.evidence,
        species=facts.animal.species,
        weighed=known is not None and known.weight_kg is not None,
        aged=known is not None and known.age_months is not None,
        rules=rules,
    )
    groups: dict[str, list[str]] = {}
    for one in found:
        why = words.series([_lacking(lack, facts, rules) for lack in one.lacks])
        groups.setdefault(why, []).append(_result(one, rules))
    return [
        Statement(
            say(rules.phrases, "not-computed", results="; ".join(dict.fromkeys(names)), reason=why),
            label=label(rules.phrases, "not-computed"),
        )
        for why, names in groups.items()
    ]


def _result(one: Uncomputed, rules: Rules) -> str:
    structure = rules.structures.get(one.structure)
    title = structure.title if structure else one.structure
    return f"{one.formula.title} ({words.lower(title)})"


def _lacking(lack: str | Place, facts: ReportFacts, rules: Rules) -> str:
    if isinstance(lack, str):
        return say(rules.phrases, LACKS[lack])
    structure, measure = lack
    row, rule = rules.structures.get(structure), rules.measures.get((facts.animal.species, structure, measure))
    what, where = words.lower(rule.title if rule else measure), words.lower(row.title if row else structure)
    return say(rules.phrases, "lacks-measurement", measurement=what, structure=where)
