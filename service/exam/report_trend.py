"""Turns what was measured now and at earlier exams into the comparison, after a person's own words about it."""

from collections.abc import Iterable
from decimal import Decimal

from service.exam import report_words as words
from service.exam.report_closing import authored
from service.exam.report_facts import ReportFacts
from service.exam.report_parts import Rules, Section, Statement
from service.exam.report_step import Ended
from service.exam.trend import Change, Repeatability


def comparison_section(facts: ReportFacts, rules: Rules, *, title: str, ended: Ended) -> Section:
    """What the signer compared, and each measurement that an earlier exam has too, structure by structure."""
    own = authored("comparison", title, texts=facts.comparison)
    return Section("comparison", title, (*own.statements, *_measured(facts, rules)))


def _measured(facts: ReportFacts, rules: Rules) -> Iterable[Statement]:
    if not facts.trends:
        return
    latest = facts.trends[0].earlier.at
    dates = list(dict.fromkeys(change.earlier.at for change in facts.trends))
    if len(dates) == 1:
        yield Statement(f"Measurements are compared with those of {_day(latest, facts)}.")
    dated = len(dates) > 1
    ordered = _in_order(facts)
    groups: dict[tuple[str, str], list[Change]] = {}
    for change in (one for one in ordered if one.difference):
        groups.setdefault((change.structure, change.which), []).append(change)
    for changes in groups.values():
        yield Statement(" ".join(_told(one, facts, dated=dated) for one in changes), label=_of(changes[0], rules))
    same = [_same(one, facts, rules, dated=dated) for one in ordered if not one.difference]
    if same:
        yield Statement(f"{'; '.join(same)}.", label="Unchanged")


def _in_order(facts: ReportFacts) -> list[Change]:
    """As the structures are scanned; those without a step last, in their own order."""
    steps = sorted((s.rule for s in facts.steps), key=lambda rule: (rule.station, rule.sequence))
    places = {rule.structure: number for number, rule in reversed(list(enumerate(steps)))}
    return sorted(facts.trends, key=lambda change: places.get(change.structure, len(places)))


def _of(change: Change, rules: Rules) -> str:
    row = rules.structures.get(change.structure)
    return f"{row.title if row else change.structure}{f', {change.which}' if change.which else ''}"


def _same(change: Change, facts: ReportFacts, rules: Rules, *, dated: bool) -> str:
    since = f" since {_day(change.earlier.at, facts)}" if dated else ""
    what = f"{_of(change, rules)}, {words.lower(change.title)}"
    return f"{what} {words.amount(change.now, change.unit)}{since}"


def _told(change: Change, facts: ReportFacts, *, dated: bool) -> str:
    now, before = words.amount(change.now, change.unit), words.amount(change.before, change.unit)
    when = f" on {_day(change.earlier.at, facts)}" if dated else ""
    said = f"{change.title} {now}, was {before}{when} ({_difference(change)})"
    return words.sentence(f"{said}; {_weighed(change)}" if change.within is not False else said)


def _difference(change: Change) -> str:
    parts = [_signed(change.difference, change.unit)]
    if change.per_cent is not None and change.unit != "%":
        parts.append(_signed(change.per_cent, "%"))
    return ", ".join(parts)


def _signed(value: Decimal, unit: str) -> str:
    return f"{'+' if value > 0 else '-'}{words.amount(abs(value), unit).replace(' %', '%')}"


def _weighed(change: Change) -> str:
    """What a change that is no larger than the measuring varies is worth."""
    if change.repeatability is None:
        return "how much measuring it again varies is not known"
    return f"a change below {_limit(change.repeatability)} may be the measuring alone"


def _limit(row: Repeatability) -> str:
    return f"{words.digits(row.within)}%" if row.per_cent else words.amount(row.within, row.unit)


def _day(text: str, facts: ReportFacts) -> str:
    return words.moment(text, zone=facts.zone).partition(",")[0]
