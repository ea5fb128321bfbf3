"""Turns the facts of one exam into the cautions that apply to it, in the catalogue's words."""

from collections.abc import Callable, Sequence

from service.exam.entries import live
from service.exam.report_facts import ReportFacts
from service.exam.report_opening import doppler_used, fasting, sedated
from service.exam.report_parts import Measurement, Rules, Section
from service.exam.report_step import recorded
from service.exam.report_unseen import Unseen
from service.exam.survey import Entry

ADULT_MONTHS = 7  # Vincken 2024: ratios of adults do not hold before
UNSIGNED = ("registered", "partial", "preliminary")
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
    taken = [m for s in findings.statements for m in s.measurements]
    applying.update(i for i, holds in OF_MEASUREMENTS if holds(taken))
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


def _young(facts: ReportFacts) -> bool:
    known = facts.circumstances
    return known is not None and known.age_months is not None and known.age_months < ADULT_MONTHS


def old_weight(facts: ReportFacts, rules: Rules) -> int | None:
    """How many days old the weight was when that is more than the rows allow."""
    days = facts.circumstances.weight_days if facts.circumstances else None
    most = rules.judging.get("weight-days")
    return days if days is not None and most is not None and days > most else None


OF_MEASUREMENTS: tuple[tuple[str, Callable[[Sequence[Measurement]], bool]], ...] = (
    ("C02", lambda taken: any(m.basis is not None for m in taken)),
    ("C03", lambda taken: any(m.missed for m in taken)),
    ("C16", lambda taken: any(m.remarks for m in taken)),
)
CONDITIONS: dict[str, Callable[[ReportFacts, Rules], bool]] = {
    "C01": lambda facts, rules: True,
    "C04": lambda facts, rules: _young(facts),
    "C05": lambda facts, rules: sedated(facts.preparation),
    "C06": lambda facts, rules: fasting(facts.preparation) == "not fasted",
    "C09": lambda facts, rules: bool(_recorded(facts, "diaphragm", prefixes=("finding:mirror-image",))),
    "C10": lambda facts, rules: (
        facts.animal.species == "dog"
        and bool(_recorded(facts, "peritoneum", prefixes=("measure:fluid", "finding:fluid")))
    ),
    "C11": lambda facts, rules: _pelvis_of_a_cat(facts),
    "C12": lambda facts, rules: doppler_used(facts, rules),
    "C14": lambda facts, rules: any(one.open for one in facts.urgent_records),
    "C15": lambda facts, rules: old_weight(facts, rules) is not None,
    "C17": lambda facts, rules: facts.edition.number > 1 and facts.edition.status not in UNSIGNED,
    "C20": lambda facts, rules: bool(facts.procedures),
    "C21": lambda facts, rules: bool(_recorded(facts, "pregnancy", prefixes=("finding:", "measure:", "plane:"))),
    "C24": lambda facts, rules: _one_act(facts),
}
