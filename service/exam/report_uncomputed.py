"""Turns what could not be computed into words: which result, of which structure, and what it lacks."""

from service.exam import report_words as words
from service.exam.formulas import AGE, WEIGHT
from service.exam.readings import Place
from service.exam.report_facts import ReportFacts
from service.exam.report_parts import Rules, Statement
from service.exam.uncomputed import Uncomputed, uncomputed

LACKS = {WEIGHT: "the body weight was not recorded", AGE: "the age is not known"}


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
        Statement(f"{'; '.join(dict.fromkeys(names))}. Reason: {why}.", label="Not computed")
        for why, names in groups.items()
    ]


def _result(one: Uncomputed, rules: Rules) -> str:
    structure = rules.structures.get(one.structure)
    title = structure.title if structure else one.structure
    return f"{one.formula.title} ({words.lower(title)})"


def _lacking(lack: str | Place, facts: ReportFacts, rules: Rules) -> str:
    if isinstance(lack, str):
        return LACKS[lack]
    structure, measure = lack
    row, rule = rules.structures.get(structure), rules.measures.get((facts.animal.species, structure, measure))
    what = words.lower(rule.title if rule else measure)
    return f"{what} of the {words.lower(row.title if row else structure)} was not measured"
