"""Turns evidence of structures that no step asked for into steps of their own, so that nothing seen is left out."""

from service.exam.evidence import Evidence
from service.exam.report_facts import ReportFacts
from service.exam.report_parts import Rules
from service.exam.report_step import Ended, ended
from service.exam.rules import StepRule
from service.exam.survey import Entry, Step

TITLE = "Recorded besides what was asked for"
AFTER_ALL = 99  # after every station


def besides(facts: ReportFacts, rules: Rules) -> Ended:
    """A step for each structure with evidence and without a step of the exam: a mass met on the way, for one."""
    asked = {s.rule.structure for s in facts.steps}
    groups: dict[str, list[Evidence]] = {}
    for one in facts.evidence:
        if one.structure and one.structure not in asked and not one.sighting.retracted:
            groups.setdefault(one.structure, []).append(one)
    return ended(_step(structure, many, rules=rules) for structure, many in groups.items())


def _step(structure: str, many: list[Evidence], *, rules: Rules) -> Step:
    row = rules.structures.get(structure)
    title = row.title if row else structure.replace("_", " ")
    rule = StepRule(structure, AFTER_ALL, TITLE, 0, structure, title, "optional")
    return Step("", rule, tuple(_entry(one, item) for one in many for item in one.items))


def _entry(one: Evidence, item: str) -> Entry:
    seen = one.sighting
    value = one.value if item.startswith("finding:") else ""
    return Entry(item, seen.source, seen.at, seen.by, value, seen.reason, "", seen.window, seen.station)
