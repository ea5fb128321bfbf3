"""Turns the records of urgent findings into the section that says who was told, when and how, and who received it."""

from collections.abc import Iterator

from service.exam import report_words as words
from service.exam.report_closing import authored
from service.exam.report_facts import ReportFacts
from service.exam.report_parts import Rules, Section, Statement
from service.exam.report_phrases import say
from service.exam.report_step import Ended
from service.exam.urgent_record import Attempt, UrgentRecord


def urgent_section(facts: ReportFacts, rules: Rules, *, title: str, ended: Ended) -> Section:
    """What its author says of it, then each urgent finding with its decision and who received it."""
    given = authored("urgent", title, texts=facts.urgent)
    told = (_statement(one, facts, rules) for one in facts.urgent_records if one.state != "unsupported")
    return Section("urgent", title, (*given.statements, *told))


def urgent_notices(facts: ReportFacts, rules: Rules) -> tuple[str, ...]:
    """What stands above everything else: each confirmed finding that nobody has received yet."""
    if facts.edition.status == "entered-in-error":
        return ()
    waiting = [one for one in facts.urgent_records if one.message_state and one.open]
    return tuple(_say(rules, "urgent-notice", soon=_soon(rules, one), finding=_found(one)) for one in waiting)


def _found(record: UrgentRecord) -> str:
    """What was found, as it was recorded; what the finding is called where a person raised it."""
    recorded = [words.lower(_line(one)) for one in record.because]
    return words.series(recorded, mark=";") or words.lower(_line(record.title))


def _statement(record: UrgentRecord, facts: ReportFacts, rules: Rules) -> Statement:
    found = [words.sentence(_line(one)) for one in record.because]
    return Statement(" ".join((*found, *_sentences(record, facts, rules))), label=_line(record.title))


def _sentences(record: UrgentRecord, facts: ReportFacts, rules: Rules) -> Iterator[str]:
    when, by, reason = _moment(record.identified_at, facts), _line(record.decided_by), _line(record.reason)
    if record.undecided:
        yield _say(rules, "urgent-suggested", when=when)
        return
    if record.state == "declined":
        yield _say(rules, "urgent-declined", when=when, by=by, reason=words.sentence(reason))
        return
    yield _say(rules, "urgent-confirmed", when=when, by=by, soon=_soon(rules, record))
    if reason:
        yield words.sentence(reason)
    if record.state == "evidence-withdrawn":
        yield _say(rules, "urgent-taken-back")
    yield from (_attempt(one, facts, rules) for one in record.attempts)
    if record.passed_on_to:
        yield _say(rules, "urgent-passed-on", to=words.series([_line(one) for one in record.passed_on_to]))
    yield from _receipt(record, facts, rules)


def _attempt(one: Attempt, facts: ReportFacts, rules: Rules) -> str:
    places = {
        "by": _line(one.by),
        "to": _line(one.to),
        "method": _say(rules, f"urgent-{one.method}"),
        "when": _moment(one.at, facts),
    }
    if not one.outcome:
        return _say(rules, "urgent-attempt-bare", **places)
    return _say(rules, "urgent-attempt", outcome=words.sentence(_line(one.outcome)), **places)


def _receipt(record: UrgentRecord, facts: ReportFacts, rules: Rules) -> Iterator[str]:
    if record.message_state != "acknowledged":
        who = _line(record.responsible)
        yield _say(rules, "urgent-waiting-for", to=who) if who else _say(rules, "urgent-waiting")
        return
    yield _say(
        rules,
        "urgent-told",
        to=_line(record.communicated_to),
        by=_line(record.communicated_by),
        method=_say(rules, f"urgent-{record.method}"),
        when=_moment(record.communicated_at, facts),
    )
    if record.read_back:
        yield _say(rules, "urgent-read-back")
    else:
        yield _say(rules, "urgent-received", when=_moment(record.received_at, facts))
    if record.remark:
        yield words.sentence(_line(record.remark))


def _say(rules: Rules, key: str, **places: str) -> str:
    return say(rules.phrases, key, many=False, **places)


def _soon(rules: Rules, record: UrgentRecord) -> str:
    return _say(rules, f"urgent-tier-{record.tier}")


def _moment(text: str, facts: ReportFacts) -> str:
    return words.moment(text, zone=facts.zone)


def _line(text: str) -> str:
    return words.one_line(text)
