"""Turns the measurements of one step into words with every digit as sent, each beside the limit that holds for it."""

from service.exam import report_verdict
from service.exam import report_words as words
from service.exam.derived import MADE
from service.exam.evidence import Evidence
from service.exam.report_facts import ReportFacts
from service.exam.report_lesions import titled
from service.exam.report_parts import Measurement, Rules
from service.exam.report_phrases import say
from service.exam.report_repeats import folded, is_mean, mean_of
from service.exam.report_step import Known, recorded, resting
from service.exam.survey import Entry, Step
from service.exam.verdict import Verdict, judge


def measurements(step: Step, facts: ReportFacts, *, rules: Rules, known: Known) -> tuple[Measurement, ...]:
    """Each measurement entered for the step, of repeated ones their mean; a missing value is told as missing."""
    taken = ((e, resting(e, known) or (None,)) for e in recorded(step, "measure"))
    pairs = folded((e, one) for e, many in taken for one in many)
    return tuple(_measurement(step, e, facts=facts, rules=rules, seen=one) for e, one in pairs)


def _measurement(step: Step, entry: Entry, *, facts: ReportFacts, rules: Rules, seen: Evidence | None) -> Measurement:
    key = entry.item.partition(":")[2]
    row = rules.measures.get((facts.animal.species, step.rule.structure, key))
    planes = [i.partition(":")[2] for i in seen.items if i.startswith("plane:")] if seen else []
    verdict = _verdict(step, key, seen, planes, facts=facts, rules=rules)
    return Measurement(
        title=titled(row.title if row else key.replace("-", " ").replace("_", " "), key, seen),
        value=_value(seen),
        limit=report_verdict.limit(verdict, rules),
        plane=_where(seen, planes, rules),
        source=entry.source,
        flag=verdict.flag if verdict else "",
        soft=bool(verdict and verdict.soft),
        basis=verdict.limit if verdict else None,
        missed=report_verdict.missed(verdict, rules.limits.get((facts.animal.species, step.rule.structure, key), ())),
        method=_method(entry, seen, rules),
        key=key,
        remarks=tuple(words.sentence(words.one_line(one)) for one in (seen.sighting.differs if seen else ())),
    )


def _verdict(
    step: Step, key: str, seen: Evidence | None, planes: list[str], *, facts: ReportFacts, rules: Rules
) -> Verdict | None:
    """By the unrounded value where it was computed here; None when nothing was judged at all."""
    if facts.circumstances is None:
        return None
    if seen is None or seen.sighting.quantity is None:
        return Verdict(reason="There is no value.")
    one = seen.sighting
    return judge(
        step.rule.structure,
        key,
        one.quantity if one.unrounded is None else one.unrounded,
        one.unit,
        circumstances=facts.circumstances,
        rules=rules,
        plane=planes[0] if planes else "",
        site=one.place,
        formula=one.formula,
    )


def _where(seen: Evidence | None, planes: list[str], rules: Rules) -> str:
    """The plane and the place in the structure."""
    place = seen.sighting.place if seen else ""
    named = [words.lower(rules.places.get(place, place.replace("-", " ")))] if place else []
    shown = words.series([words.PLANES.get(p, p) for p in planes])
    return ", ".join(words.one_line(part) for part in (*named, shown) if part)


def _method(entry: Entry, seen: Evidence | None, rules: Rules) -> str:
    """How a computed value came about; "" for what was measured."""
    made = entry.act.removeprefix(MADE).partition(":")[0] if entry.act.startswith(MADE) else ""
    key = made or (seen.sighting.formula if seen else "")
    if is_mean(entry):
        return mean_of(seen, rules.phrases)
    row = rules.formulas.get(key)
    return say(rules.phrases, "computed", formula=words.lower(row.title) if row else key) if key else ""


def _value(seen: Evidence | None) -> str:
    if seen is None or seen.sighting.quantity is None:
        return "recorded without a value"
    said = words.amount(seen.sighting.quantity, seen.sighting.unit)
    return f"{said} (outside the plausible range, confirmed by a person)" if seen.sighting.confirmed else said
