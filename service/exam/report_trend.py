"""Turns what was measured now and at earlier exams into the comparison, after a person's own words about it."""

from collections.abc import Iterable
from decimal import Decimal

from service.exam import report_words as words
from service.exam.report_closing import authored
from service.exam.report_facts import ReportFacts
from service.exam.report_parts import Rules, Section, Statement
from service.exam.report_phrases import label, say
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
        yield Statement(say(rules.phrases, "compared-with", date=_day(latest, facts)))
    dated = len(dates) > 1
    ordered = _in_order(facts)
    groups: dict[tuple[str, str], list[Change]] = {}
    for change in (one for one in ordered if one.difference):
        groups.setdefault((change.structure, change.which), []).append(change)
    for changes in groups.values():
        yield Statement(
            " ".join(_told(one, facts, rules, dated=dated) for one in changes), label=_of(changes[0], rules)
        )
    same = [_same(one, facts, rules, dated=dated) for one in ordered if not one.difference]
    if same:
        yield Statement(f"{'; '.join(same)}.", label=label(rules.phrases, "unchanged"))


def _in_order(facts: ReportFacts) -> list[Change]:
    """As the structures are scanned; those without a step last, in their own order."""
    steps = sorted((s.rule for s in facts.steps), key=lambda rule: (rule.station, rule.sequence))
    places = {rule.structure: number for number, rule in reversed(list(enumerate(steps)))}
    return sorted(facts.trends, key=lambda change: places.get(change.structure, len(places)))


def _of(change: Change, rules: Rules) -> str:
    row = rules.structures.get(change.structure)
    return f"{row.title if row else change.structure}{f', {change.which}' if change.which else ''}"


def _same(change: Change, facts: ReportFacts, rules: Rules, *, dated: bool) -> str:
    what = f"{_of(change, rules)}, {words.lower(change.title)}"
    date = {"date": _day(change.earlier.at, facts)} if dated else {}
    now = words.amount(change.now, change.unit)
    return say(
        rules.phrases, "unchanged-dated" if dated else "unchanged", many=False, measurement=what, now=now, **date
    )


def _told(change: Change, facts: ReportFacts, rules: Rules, *, dated: bool) -> str:
    said = say(
        rules.phrases,
        "change-dated" if dated else "change",
        many=False,
        measurement=change.title,
        now=words.amount(change.now, change.unit),
        before=words.amount(change.before, change.unit),
        difference=_difference(change),
        **({"date": _day(change.earlier.at, facts)} if dated else {}),
    )
    return words.sentence(f"{said}; {_weighed(change, rules)}" if change.within is not False else said)


def _difference(change: Change) -> str:
    parts = [_signed(change.difference, change.unit)]
    if change.per_cent is not None and change.unit != "%":
        parts.append(_signed(change.per_cent, "%"))
    return ", ".join(parts)


def _signed(value: Decimal, unit: str) -> str:
    return f"{'+' if value > 0 else '-'}{words.amount(abs(value), unit).replace(' %', '%')}"


def _weighed(change: Change, rules: Rules) -> str:
    """What a change that is no larger than the measuring varies is worth."""
    if change.repeatability is None:
        return say(rules.phrases, "change-unweighed")
    return say(rules.phrases, "change-small", limit=_limit(change.repeatability))


def _limit(row: Repeatability) -> str:
    return f"{words.digits(row.within)}%" if row.per_cent else words.amount(row.within, row.unit)


def _day(text: str, facts: ReportFacts) -> str:
    return words.moment(text, zone=facts.zone).partition(",")[0]
