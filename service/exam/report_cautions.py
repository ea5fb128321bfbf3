"""Turns the facts of one exam into the cautions that apply to it, in the catalogue's words."""

from collections.abc import Callable

from service.exam.entries import live
from service.exam.report_facts import ReportFacts
from service.exam.report_opening import doppler_used, fasting, sedated
from service.exam.report_parts import Rules, Section
from service.exam.report_step import recorded
from service.exam.report_unseen import Unseen
from service.exam.survey import Entry

GRADED = ("mild", "moderate", "marked")


def cautions(facts: ReportFacts, rules: Rules, *, findings: Section, unseen: Unseen) -> tuple[tuple[str, str], ...]:
    """(id, text) of each caution row whose condition the exam meets, in the catalogue's order."""
    applying = {i for i, holds in CONDITIONS.items() if holds(facts, rules)}
    if unseen.left or unseen.sought or unseen.missing or facts.service.scope != "full":
        applying.add("C07")
    if unseen.part:
        applying.add("C08")
    if any(word in s.lead.lower() for s in findings.statements for word in GRADED if s.kind == "noted"):
        applying.add("C23")
    return tuple((row.id, row.text) for row in rules.cautions if row.id in applying)


def _recorded(facts: ReportFacts, structure: str, *, prefixes: tuple[str, ...]) -> list[Entry]:
    """Entries of a structure (by the start of its key) with one of these items."""
    steps = [s for s in facts.steps if s.rule.structure.startswith(structure)]
    return [e for s in steps for e in live(s) if e.item.startswith(prefixes)]


def _pelvis_of_a_cat(facts: ReportFacts) -> bool:
    items = ("finding:pelvis", "measure:pelvis")
    return facts.animal.species == "cat" and bool(_recorded(facts, "kidney", prefixes=items))


def _one_act(facts: ReportFacts) -> bool:
    """Whether findings were filled by one explicit act ("as expected") instead of being stated one by one."""
    return any(e.act for s in facts.steps for e in recorded(s, "finding"))


CONDITIONS: dict[str, Callable[[ReportFacts, Rules], bool]] = {
    "C01": lambda facts, rules: True,
    "C05": lambda facts, rules: sedated(facts.preparation),
    "C06": lambda facts, rules: fasting(facts.preparation) == "not fasted",
    "C09": lambda facts, rules: bool(_recorded(facts, "diaphragm", prefixes=("finding:mirror-image",))),
    "C10": lambda facts, rules: bool(_recorded(facts, "peritoneum", prefixes=("measure:fluid", "finding:fluid"))),
    "C11": lambda facts, rules: _pelvis_of_a_cat(facts),
    "C12": lambda facts, rules: doppler_used(facts, rules),
    "C17": lambda facts, rules: facts.edition.number > 1,
    "C21": lambda facts, rules: bool(_recorded(facts, "pregnancy", prefixes=("finding:", "measure:", "plane:"))),
    "C24": lambda facts, rules: _one_act(facts),
}
