"""Turns the records of urgent findings into the section that says who was told, when and how, and who received it."""

from collections.abc import Iterator

from service.exam import report_words as words
from service.exam.report_closing import authored
from service.exam.report_facts import ReportFacts
from service.exam.report_parts import Rules, Section, Statement
from service.exam.report_step import Ended
from service.exam.urgent_record import Attempt, UrgentRecord

SOON = {1: "at once", 2: "within hours", 3: "within days"}
METHOD = {"voice": "by voice", "in-person": "in person", "message": "by message"}


def urgent_section(facts: ReportFacts, rules: Rules, *, title: str, ended: Ended) -> Section:
    """What its author says of it, then each urgent finding with its decision and who received it."""
    given = authored("urgent", title, texts=facts.urgent)
    told = (_statement(one, facts) for one in facts.urgent_records if one.state != "unsupported")
    return Section("urgent", title, (*given.statements, *told))


def _statement(record: UrgentRecord, facts: ReportFacts) -> Statement:
    label = words.one_line(record.title)
    return Statement(" ".join(_sentences(record, facts)), label=label)


def _sentences(record: UrgentRecord, facts: ReportFacts) -> Iterator[str]:
    when = words.moment(record.identified_at, zone=facts.zone)
    found = words.series([words.lower(words.one_line(b)) for b in record.because], mark=";")
    resting = f", by {found}" if found else ""
    if record.undecided:
        yield f"Suggested on {when}{resting}; nobody had decided it when this report was issued."
        return
    by = words.one_line(record.decided_by)
    reason = f": {words.sentence(words.one_line(record.reason))}" if record.reason else "."
    if record.state == "declined":
        yield f"Suggested on {when}{resting}. Declined by {by}{reason}"
        return
    yield f"Identified on {when}{resting}. Confirmed by {by} as to be told {SOON[record.tier]}{reason}"
    if record.state == "evidence-withdrawn":
        yield "What it rested on was taken back since."
    yield from (_attempt(one, facts) for one in record.attempts)
    if record.passed_on_to:
        yield f"Passed on to {words.series([words.one_line(one) for one in record.passed_on_to])}."
    yield from _receipt(record, facts)


def _attempt(one: Attempt, facts: ReportFacts) -> str:
    when = words.moment(one.at, zone=facts.zone)
    outcome = f": {words.sentence(words.one_line(one.outcome))}" if one.outcome else "."
    return f"{words.one_line(one.by)} tried {words.one_line(one.to)} {METHOD[one.method]} on {when}{outcome}"


def _receipt(record: UrgentRecord, facts: ReportFacts) -> Iterator[str]:
    if record.message_state != "acknowledged":
        who = f" by {words.one_line(record.responsible)}" if record.responsible else ""
        yield f"Receipt{who} had not been confirmed when this report was issued."
        return
    to, by = words.one_line(record.communicated_to), words.one_line(record.communicated_by)
    when = words.moment(record.communicated_at, zone=facts.zone)
    yield f"{to} was told {METHOD[record.method]} by {by} on {when}."
    received = words.moment(record.received_at, zone=facts.zone)
    yield "It was read back." if record.read_back else f"Receipt was confirmed on {received}."
    if record.remark:
        yield words.sentence(words.one_line(record.remark))
