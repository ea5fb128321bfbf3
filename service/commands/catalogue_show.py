"""`catalogue show`: what would be asked of one structure of an animal, and what its measurements are judged by."""

from collections.abc import Iterator

from service.catalogue.catalogue import Catalogue
from service.commands import stop
from service.exam import applying
from service.exam.circumstances import Circumstances
from service.exam.limit_words import ends, holds_for, spoken
from service.exam.limits import Limit
from service.exam.rules import MeasureRule, StepRule


def show(rules: Catalogue, structure: str, known: Circumstances) -> None:
    """Print steps, findings, measurements with their limits, what is shown only, and where sources disagree."""
    if structure not in rules.structures:
        near = ", ".join(sorted(rules.structures))
        raise stop.stop(f"there is no structure {structure}; there are {near}")
    for line in lines(rules, structure, known):
        print(line)


def lines(rules: Catalogue, structure: str, known: Circumstances) -> Iterator[str]:
    """The same as lines."""
    row = rules.structures[structure]
    weight = f", {known.weight_kg} kg" if known.weight_kg is not None else ""
    yield f"{row.title} ({known.species}{weight}); catalogue {rules.hash[:12]}"
    for step in rules.protocols[known.species].steps:
        if step.structure == structure:
            yield from _step(step)
    yield from _findings(rules, row.vocabulary)
    for (species, place, _), rule in rules.measures.items():
        if (species, place) == (known.species, structure):
            yield from _measure(rules, rule, known)
    yield from _disagreements(rules, structure, known.species)


def _step(step: StepRule) -> Iterator[str]:
    yield f"asked at station {step.station}, {step.station_title}: {step.title} ({step.requirement})"
    images = f"{step.stills} still image{'' if step.stills == 1 else 's'}, clip {step.clip}"
    yield f"  planes {' '.join(step.planes) or 'none'}; {images}"
    if step.measures:
        yield f"  must be measured: {' '.join(step.measures)}"
    if step.may_measure:
        yield f"  may be measured: {' '.join(step.may_measure)}"


def _findings(rules: Catalogue, vocabulary: str) -> Iterator[str]:
    for attribute in rules.vocabularies.get(vocabulary, ()):
        values = ", ".join(f"{v.display}{' (expected)' if v.default else ''}" for v in attribute.values)
        yield f"finding {attribute.key}: {values}"


def _measure(rules: Catalogue, rule: MeasureRule, known: Circumstances) -> Iterator[str]:
    yield f"measure {rule.key}: {rule.title}, {rule.unit}, plausible {rule.low} to {rule.high}"
    yield from _computed(rules, rule, known)
    rows = rules.limits.get((known.species, rule.structure, rule.key), ())
    judging = [row for row in rows if row.flags and known.species in row.in_force]
    if not judging:
        yield f"  not judged: {applying.none_in_force(known.species, rows)}"
    for place, plane in dict.fromkeys((row.places, row.planes) for row in judging):
        same = [row for row in judging if (row.places, row.planes) == (place, plane)]
        yield f"  {_judged(same, known)}"
    for row in rows:
        if row not in judging:
            kept = "kept on record, not used" if row.use == "do-not-use" else f"shown only ({row.use})"
            yield f"  {kept} {row.id}: {_shown(row)}"


def _computed(rules: Catalogue, rule: MeasureRule, known: Circumstances) -> Iterator[str]:
    """By which formulas it is computed, and the change that counts as more than measuring varies."""
    for row in rules.computations.get(known.species, ()):
        if (row.structure, row.measure) == (rule.structure, rule.key):
            of = " ".join(".".join(place) for place in dict.fromkeys(row.needs))
            yield f"  computed by {row.formula.key}, {row.formula.text}, of {of}; {row.formula.source}"
    rows = rules.repeatability
    varies = rows.get((known.species, rule.structure, rule.key)) or rows.get((known.species, "", rule.key))
    if varies is not None:
        unit = "%" if varies.per_cent else "" if rule.unit in {"1", "{score}"} else f" {rule.unit}"
        yield f"  a change below {varies.within}{unit} may be the measuring alone; {varies.source}"


def _judged(rows: list[Limit], known: Circumstances) -> str:
    """The limit that holds, taken in the place and plane that it is for, or why none does."""
    first = rows[0]
    chosen, reason = applying.choose(
        rows, known, plane=first.planes[0] if first.planes else "", site=first.places[0] if first.places else ""
    )
    if chosen is None:
        return f"not judged: {reason}"
    table = f" [table {chosen.table}]" if chosen.table else ""
    plane = f" (plane {' or '.join(chosen.planes)})" if chosen.planes else ""
    return f"judged by {chosen.id}{table}{plane}: {spoken(chosen)}"


def _shown(row: Limit) -> str:
    whom = ", ".join(holds_for(row))
    return f"{ends(row) or row.statistic}{f' ({whom})' if whom else ''}; {row.source.words}"


def _disagreements(rules: Catalogue, structure: str, species: str) -> Iterator[str]:
    for one in rules.disagreements:
        if structure in one.structures and species in one.species:
            yield f"sources disagree, {one.topic}: {one.one} / {one.other}; here: {one.advice}"
