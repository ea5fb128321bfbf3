"""Turns the measurements of one step into words with every digit as sent."""

from service.exam import report_words as words
from service.exam.evidence import Evidence
from service.exam.report_facts import ReportFacts
from service.exam.report_parts import Measurement, Rules
from service.exam.report_step import Known, recorded, resting
from service.exam.survey import Entry, Step

NOT_COMPARED = "not compared with a limit"


def measurements(step: Step, facts: ReportFacts, *, rules: Rules, known: Known) -> tuple[Measurement, ...]:
    """Each measurement entered for the step, repeats kept; one whose value is missing is told without it."""
    taken = ((e, resting(e, known) or (None,)) for e in recorded(step, "measure"))
    return tuple(_measurement(step, e, facts=facts, rules=rules, seen=one) for e, many in taken for one in many)


def _measurement(step: Step, entry: Entry, *, facts: ReportFacts, rules: Rules, seen: Evidence | None) -> Measurement:
    key = entry.item.partition(":")[2]
    row = rules.measures.get((facts.animal.species, step.rule.structure, key))
    planes = [i.partition(":")[2] for i in seen.items if i.startswith("plane:")] if seen else []
    return Measurement(
        title=row.title if row else key.replace("-", " ").replace("_", " "),
        value=_value(seen),
        limit=NOT_COMPARED,
        plane=words.series([words.PLANES.get(p, p) for p in planes]),
        source=entry.source,
    )


def _value(seen: Evidence | None) -> str:
    if seen is None or seen.sighting.quantity is None:
        return "recorded without a value"
    said = words.amount(seen.sighting.quantity, seen.sighting.unit)
    return f"{said} (outside the plausible range, confirmed by a person)" if seen.sighting.confirmed else said
