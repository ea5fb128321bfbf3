"""Turns the steps of an exam into the findings section: one statement per structure, normal ones too."""

import re

from service.exam import report_verdict
from service.exam import report_words as words
from service.exam.entries import head, live
from service.exam.report_besides import besides
from service.exam.report_facts import ReportFacts
from service.exam.report_lesions import lesions
from service.exam.report_measurements import measurements
from service.exam.report_parts import Rules, Section, Statement
from service.exam.report_phrases import say
from service.exam.report_step import Ended, Known, Outcome, by_source, recorded, resting, windows
from service.exam.report_unseen import examined
from service.exam.report_values import findings
from service.exam.survey import Entry, Step

_RECORD = re.compile(r"\b[A-Z][A-Za-z]+/[A-Za-z0-9.-]{1,64}(?:, )?")  # a reference means nothing to a reader
SEEN = {"seen", "settled-elsewhere"}
UNFINISHED = {"registered", "partial", "preliminary"}


def findings_section(facts: ReportFacts, rules: Rules, *, title: str, ended: Ended) -> Section:
    """A statement for each step on which anything was entered, and for each owed one on which nothing was."""
    known = by_source(facts.evidence)
    told = [(s, o) for s, o in (*ended, *besides(facts, rules)) if s.rule.owed_from_start or o.kind != "blank"]
    statements = (_statement(s, o, facts=facts, rules=rules, known=known) for s, o in told)
    return Section("findings", title, tuple(statements))


def _statement(step: Step, ended: Outcome, *, facts: ReportFacts, rules: Rules, known: Known) -> Statement:
    found = findings(step, rules, known=known)
    taken = measurements(step, facts, rules=rules, known=known)
    beyond = report_verdict.lead(taken, rules)
    opening = _opening(step, ended, facts=facts, rules=rules)
    lead = [found.lead, beyond, *([] if ended.kind in SEEN else [opening])]
    rest = [*([opening] if ended.kind in SEEN else []), *_remarks(step, rules, known=known)]
    return Statement(
        " ".join((*lesions(step, rules, known=known), *rest, *found.rest(rules, part=ended.kind == "seen-part"))),
        label=step.rule.title,
        kind=_kind(ended, bool(found.noted or beyond)),
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
    """How the structure was seen, or why not."""
    if ended.kind == "seen":
        return " ".join(filter(None, (_second_look(step, ended, rules), _seen(step, rules))))
    key, places = _phrase(step, ended, facts=facts, rules=rules)
    note = ended.entry.note if ended.kind == "absent-unexplained" and ended.entry else ""
    return f"{_say(rules, step, key, **places)} {words.sentence(words.one_line(note))}".strip()


def _phrase(step: Step, ended: Outcome, *, facts: ReportFacts, rules: Rules) -> tuple[str, dict[str, str]]:
    """The sentence for a structure that was not simply seen: its key and what fills it."""
    entry = ended.entry
    if ended.kind == "seen-part":
        return "seen-part", {"reason": reason(entry, rules)}
    if ended.kind == "settled-elsewhere":
        return "seen-elsewhere", {"elsewhere": _other(ended, facts)}
    if ended.kind == "not-seen":
        return "sought" if examined(entry, rules) else "not-examined", {"reason": reason(entry, rules)}
    if ended.kind == "absent-surgical":
        return "absent-surgical", {"operation": operation(step, entry)}
    if ended.kind in {"absent-unexplained", "deferred"}:
        return ended.kind, {}
    return "not-recorded-yet" if facts.edition.status in UNFINISHED else "not-recorded", {}


def _say(rules: Rules, step: Step, key: str, **places: str) -> str:
    return words.sentence(say(rules.phrases, key, many=step.rule.structure in rules.plurals, **places))


def reason(entry: Entry | None, rules: Rules) -> str:
    """The reason in words with its detail; a missing one is said to be missing."""
    if entry is None:
        return "no reason stated"
    known = rules.reasons.get(entry.reason)
    said = words.lower(known.display) if known else entry.reason or "no reason stated"
    note = words.one_line(entry.note)
    note = "" if note.lower() == said.lower() else note
    return f"{said} ({note.rstrip('.')})" if note else said


def operation(step: Step, entry: Entry | None) -> str:
    """The operation that explains an absence, as stated, else as the protocol names it; ids of records are left out."""
    said = _RECORD.sub("", words.one_line(entry.note)).rstrip(".") if entry else ""
    return said or step.rule.operation or "not stated which"


def _seen(step: Step, rules: Rules) -> str:
    planes = words.planes(e.item.partition(":")[2] for e in recorded(step, "plane"))
    through = words.series(windows(step))
    key = "seen" + ("-in" if planes else "") + ("-through" if through else "")
    places = {"planes": planes, "windows": through}
    return _say(rules, step, key, **{k: v for k, v in places.items() if v})


def _second_look(step: Step, ended: Outcome, rules: Rules) -> str:
    earlier = ended.overruled
    if earlier is None:
        return ""
    if earlier.item == "disposition:not-seen":
        return _say(rules, step, "second-look", reason=reason(earlier, rules))
    return _say(rules, step, "second-look-absent")


def _other(ended: Outcome, facts: ReportFacts) -> str:
    code = ended.entry.item.partition(":")[2] if ended.entry else ""
    titles = {s.rule.code: s.rule.title for s in facts.steps}
    return words.lower(titles.get(code, code))


def _remarks(step: Step, rules: Rules, *, known: Known) -> list[str]:
    """Free text beside the codes, in the examiner's own words."""
    spoken = [e for e in live(step) if head(e) not in {"disposition", "excused"}]  # whose words are their reason's
    given = dict.fromkeys(one.sighting.text for e in spoken for one in resting(e, known))
    texts = dict.fromkeys(words.one_line(text) for text in given if text)
    told = [say(rules.phrases, "remark", words=words.sentence(t)) for t in texts if t]
    many = len(recorded(step, "unread"))
    number = "one" if many == 1 else "many"
    return [*told, *([say(rules.phrases, f"unread-{number}", number=str(many))] if many else [])]
