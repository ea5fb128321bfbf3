"""Turns conclusions, signature and images into the sections after the findings."""

from collections.abc import Sequence

from service.exam import report_words as words
from service.exam.report_facts import ReportFacts
from service.exam.report_opening import UNKNOWN
from service.exam.report_parts import Rules, Section, Statement
from service.exam.report_phrases import label, say
from service.exam.report_step import Ended, recorded

STATUS = {
    "registered": "registered, not yet reported",
    "partial": "partial, not final",
    "preliminary": "preliminary, not final",
    "final": "final",
    "amended": "amended: the interpretation changed",
    "corrected": "corrected: an error was put right",
    "appended": "appended: text was added, the conclusions stand",
    "cancelled": "cancelled",
    "entered-in-error": "withdrawn: entered in error",
}


def authored(key: str, title: str, *, texts: Sequence[str], numbered: bool = False) -> Section:
    """A section of a person's own words, blank ones left out."""
    kept = [t for t in (words.clean(t) for t in texts) if t]
    return Section(key, title, tuple(Statement(t, kind="authored") for t in kept), numbered=numbered and len(kept) > 1)


def conclusion_section(facts: ReportFacts, rules: Rules, *, title: str, ended: Ended) -> Section:
    """The conclusions as given, most important first."""
    given = authored("conclusion", title, texts=facts.conclusions, numbered=True)
    return (
        given if given.statements else Section("conclusion", title, (Statement(say(rules.phrases, "no-conclusion")),))
    )


def signature_section(facts: ReportFacts, rules: Rules, *, title: str, ended: Ended) -> Section:
    """Who scanned, who interpreted, what status this issue has and when it was issued."""
    rows = (
        ("scanned-by", words.series([words.one_line(p) for p in facts.performers]) or UNKNOWN),
        ("interpreted-by", words.one_line(facts.interpreter) or UNKNOWN),
        ("status", f"{status_words(facts)}, version {facts.edition.number}"),
        ("issued", words.moment(facts.issued, zone=facts.zone)),
    )
    return Section("signature", title, tuple(Statement(text, label=label(rules.phrases, key)) for key, text in rows))


def status_words(facts: ReportFacts) -> str:
    """DiagnosticReport.status in words; an unknown one as it is."""
    return STATUS.get(facts.edition.status, facts.edition.status)


def images_section(facts: ReportFacts, rules: Rules, *, title: str, ended: Ended) -> Section:
    """How many images belong to the exam and which study holds them."""
    stills = _number(facts, "still") if facts.stills is None else facts.stills
    clips = _number(facts, "clip") if facts.clips is None else facts.clips
    counted = (
        f"{words.count(stills, 'still image')} and {words.count(clips, 'clip')} are recorded with this examination."
    )
    studies = [Statement(words.one_line(uid), label=label(rules.phrases, "study")) for uid in facts.studies]
    return Section("images", title, (Statement(counted), *studies))


def _number(facts: ReportFacts, kind: str) -> int:
    """Images by source, each once; a study may hold the very images that were also sent alone, so the more counts."""
    entered = [e for s in facts.steps for e in recorded(s, kind)]
    alone = {e.sighting.source for e in facts.evidence if e.sighting.kind == kind and not e.sighting.retracted}
    alone |= {e.source or e.at for e in entered if not e.value}
    studies = {(s.rule.code, e.source): int(e.value) for s in facts.steps for e in recorded(s, kind) if e.value}
    return max(len(alone), sum(studies.values()))


def notices(facts: ReportFacts) -> tuple[str, ...]:
    """What must stand above everything else: that it is not final, replaces another or was withdrawn."""
    edition = facts.edition
    if edition.status == "entered-in-error":
        return ("This report was withdrawn: it was entered in error. Do not use it.", *_why(facts))
    if edition.status in {"registered", "partial", "preliminary"}:
        return (f"This is not the final report. It may change.{_earlier(facts)}",)
    if edition.replaces is None:
        return _after_preliminary(facts)
    issued = f", issued {words.moment(edition.replaced_issued, zone=facts.zone)}" if edition.replaced_issued else ""
    return (f"Version {edition.number} of this report. It replaces version {edition.replaces}{issued}.", *_why(facts))


def _earlier(facts: ReportFacts) -> str:
    """What a preliminary report says of those before it."""
    edition = facts.edition
    if edition.number < 2:
        return ""
    before = f", issued {words.moment(edition.replaced_issued, zone=facts.zone)}" if edition.replaced_issued else ""
    return f" It is preliminary report {edition.number} of this exam and follows number {edition.number - 1}{before}."


def _after_preliminary(facts: ReportFacts) -> tuple[str, ...]:
    """That a final report takes the place of a preliminary one, and what reads otherwise."""
    before = facts.edition.preliminary
    if before is None:
        return ()
    when = words.moment(before.issued, zone=facts.zone)
    opening = f"A preliminary report was issued on {when}. This final report takes its place."
    differs = [f"What differs: {words.sentence(words.one_line(c))}" for c in facts.edition.changes]
    more = words.count(before.others, "statement")
    verb = "reads" if before.others == 1 else "read"
    others = [f"Of the findings and other sections, {more} {verb} otherwise now."] if before.others else []
    return (opening, *(differs or ["The conclusions are the same."]), *others, *_major(facts))


def _major(facts: ReportFacts) -> list[str]:
    """What the author says of the weight of the change."""
    if facts.edition.major is None:
        return []
    can = "can" if facts.edition.major else "does not"
    return [f"The author states that the difference {can} change the animal's care."]


def _why(facts: ReportFacts) -> list[str]:
    edition = facts.edition
    kind = [words.sentence(STATUS.get(edition.status, edition.status))] if edition.status != "entered-in-error" else []
    pairs = (
        ("Reason", words.one_line(edition.reason)),
        ("Changed by", words.one_line(edition.by)),
        ("Told", words.series([words.one_line(t) for t in edition.told])),
    )
    changes = [f"What changed: {words.sentence(words.one_line(c))}" for c in edition.changes]
    return [*kind, *changes, *_major(facts), *(f"{head}: {words.sentence(text)}" for head, text in pairs if text)]
