"""Turns the steps of an exam into the findings section: one statement per structure, normal ones too."""

from service.exam import report_verdict
from service.exam import report_words as words
from service.exam.entries import head, live
from service.exam.report_besides import besides
from service.exam.report_facts import ReportFacts
from service.exam.report_measurements import measurements
from service.exam.report_parts import Rules, Section, Statement
from service.exam.report_step import Ended, Known, Outcome, by_source, recorded, resting, windows
from service.exam.report_unseen import examined
from service.exam.report_values import findings
from service.exam.survey import Entry, Step

SEEN = {"seen", "settled-elsewhere"}


def findings_section(facts: ReportFacts, rules: Rules, *, title: str, ended: Ended) -> Section:
    """A statement for each step on which anything was entered, and for each owed one on which nothing was."""
    known = by_source(facts.evidence)
    told = [(s, o) for s, o in (*ended, *besides(facts, rules)) if s.rule.owed_from_start or o.kind != "blank"]
    statements = (_statement(s, o, facts=facts, rules=rules, known=known) for s, o in told)
    return Section("findings", title, tuple(statements))


def _statement(step: Step, ended: Outcome, *, facts: ReportFacts, rules: Rules, known: Known) -> Statement:
    found = findings(step, rules, known=known)
    taken = measurements(step, facts, rules=rules, known=known)
    opening = _opening(step, ended, facts=facts, rules=rules)
    lead = [found.lead, report_verdict.lead(taken), *([] if ended.kind in SEEN else [opening])]
    rest = [*_remarks(step, known), *([opening] if ended.kind in SEEN else [])]
    return Statement(
        " ".join((*rest, *found.sentences(part=ended.kind == "seen-part"))),
        label=step.rule.title,
        kind=_kind(ended, bool(found.noted or report_verdict.lead(taken))),
        station=step.rule.station_title,
        measurements=taken,
        lead=" ".join(filter(None, lead)),
    )


def _kind(ended: Outcome, noted: bool) -> str:
    if noted and ended.kind in SEEN | {"seen-part"}:
        return "noted"
    kinds = {"seen": "expected", "seen-part": "part", "settled-elsewhere": "expected", "absent-surgical": "absent"}
    return kinds.get(ended.kind, "unseen")


def _opening(step: Step, ended: Outcome, *, facts: ReportFacts, rules: Rules) -> str:
    if ended.kind == "seen":
        return " ".join(filter(None, (_second_look(ended, rules), _seen(step))))
    if ended.kind == "seen-part":
        return f"Seen in part only: {reason(ended.entry, rules)}."
    if ended.kind == "settled-elsewhere":
        return f"Seen at another step: {_other(ended, facts)}."
    return _unseen(step, ended, rules=rules)


def _unseen(step: Step, ended: Outcome, *, rules: Rules) -> str:
    """The sentence for a structure that was not seen: looked for, not examined, absent, put off or left blank."""
    entry = ended.entry
    if ended.kind == "not-seen":
        return f"{_not_seen(entry, rules)}: {reason(entry, rules)}."
    if ended.kind == "absent-surgical":
        return f"Absent after surgery: {operation(step, entry)}."
    if ended.kind == "absent-unexplained":
        note = f" {words.sentence(words.one_line(entry.note))}" if entry and entry.note else ""
        return f"Not found, and no operation on record explains it.{note}"
    if ended.kind == "deferred":
        return "Put off to another window or station and not looked at again: not examined."
    return "Nothing was recorded: not examined."


def reason(entry: Entry | None, rules: Rules) -> str:
    """The reason in words with its detail; a missing one is said to be missing."""
    if entry is None:
        return "no reason stated"
    known = rules.reasons.get(entry.reason)
    said = words.lower(known.display) if known else entry.reason or "no reason stated"
    note = words.one_line(entry.note)
    note = "" if note.lower() == said.lower() else note
    return f"{said} ({note.rstrip('.')})" if note else said


def _not_seen(entry: Entry | None, rules: Rules) -> str:
    return "Looked for, not seen" if examined(entry, rules) else "Not examined"


def operation(step: Step, entry: Entry | None) -> str:
    """The operation that explains an absence, as stated, else as the protocol names it."""
    return words.one_line(entry.note).rstrip(".") if entry and entry.note else step.rule.operation or "not stated which"


def _seen(step: Step) -> str:
    planes = dict.fromkeys(words.PLANES.get(p, p) for p in (e.item.partition(":")[2] for e in recorded(step, "plane")))
    through = windows(step)
    where = f" in {words.series(list(planes))}" if planes else ""
    return f"Seen{where}{f', window: {words.series(through)}' if through else ''}."


def _second_look(ended: Outcome, rules: Rules) -> str:
    earlier = ended.overruled
    if earlier is None:
        return ""
    if earlier.item == "disposition:not-seen":
        return f"First not seen ({reason(earlier, rules)}), then seen at a second look."
    return "First recorded as absent, then seen at a second look: the record should be checked."


def _other(ended: Outcome, facts: ReportFacts) -> str:
    code = ended.entry.item.partition(":")[2] if ended.entry else ""
    titles = {s.rule.code: s.rule.title for s in facts.steps}
    return words.lower(titles.get(code, code))


def _remarks(step: Step, known: Known) -> list[str]:
    """Free text beside the codes, in the examiner's own words."""
    spoken = [e for e in live(step) if head(e) not in {"disposition", "excused"}]  # whose words are their reason's
    texts = dict.fromkeys(words.one_line(one.sighting.text) for e in spoken for one in resting(e, known))
    return [*(f"Remark: {words.sentence(t)}" for t in texts if t), *_unread(step)]


def _unread(step: Step) -> list[str]:
    many = len(recorded(step, "unread"))
    return [f"{words.count(many, 'entry', 'entries')} sent in codes not understood here, kept as sent."] if many else []
