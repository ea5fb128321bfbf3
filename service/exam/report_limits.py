"""Turns what was not seen, left out or excused into the limits section, so that silence never reads as normal."""

from collections.abc import Iterable

from service.exam import report_words as words
from service.exam.report_facts import ReportFacts
from service.exam.report_findings import examined, reason, scanned
from service.exam.report_parts import Rules, Section, Statement
from service.exam.report_step import Outcome, outcome, recorded
from service.exam.survey import Entry, Step

Ended = tuple[Step, Outcome]
COMPLETE = "Every structure asked for in this examination was seen."
NOT_JUDGED = "No measurement in this report was compared with a reference limit."


def limits_section(facts: ReportFacts, rules: Rules, *, title: str) -> Section:
    """What limited the examination: each structure by name, with its reason; "nothing did" is said too."""
    ended = [(s, outcome(s)) for s in scanned(facts)]
    told = [
        *_stopped(facts, rules),
        *_not_examined(ended, rules),
        *_not_seen(ended, rules),
        *_absent(ended),
        *_in_part(ended, rules),
        *_excused(facts, rules),
        *_not_begun(ended),
        *_outside(facts, rules),
        *_unread(facts),
        *_unplaced(facts),
    ]
    calm = [] if unseen_titles(facts, rules) or _of_kind(ended, "seen-part") else [Statement(COMPLETE)]
    judged = [Statement(NOT_JUDGED)] if any(recorded(s, "measure") for s in facts.steps) else []
    compared = [] if facts.comparison else [Statement("No earlier examination was compared.")]
    return Section("limits", title, (*calm, *told, *judged, *compared))


def unseen_titles(facts: ReportFacts, rules: Rules) -> list[str]:
    """Structures that nobody saw and that no operation explains: those the report is no clearance of."""
    ended = [(s, outcome(s)) for s in scanned(facts)]
    return [
        s.rule.title
        for s, _ in (*_left(ended, rules), *_looked_for(ended, rules), *_of_kind(ended, "absent-unexplained"))
    ]


def partly_seen_titles(facts: ReportFacts) -> list[str]:
    """Structures that were seen in part only."""
    return [s.rule.title for s in scanned(facts) if outcome(s).kind == "seen-part"]


def _of_kind(ended: Iterable[Ended], *kinds: str) -> list[Ended]:
    return [(s, o) for s, o in ended if o.kind in kinds]


def _left(ended: list[Ended], rules: Rules) -> list[Ended]:
    """Steps that were not examined: left, put off, or blank though owed."""
    blank = [(s, o) for s, o in _of_kind(ended, "blank") if s.rule.owed_from_start]
    return [
        *[(s, o) for s, o in _of_kind(ended, "not-seen") if not examined(o.entry, rules)],
        *_of_kind(ended, "deferred"),
        *blank,
    ]


def _looked_for(ended: list[Ended], rules: Rules) -> list[Ended]:
    return [(s, o) for s, o in _of_kind(ended, "not-seen") if examined(o.entry, rules)]


def _stopped(facts: ReportFacts, rules: Rules) -> list[Statement]:
    if not facts.remaining:
        return []
    told = reason(Entry("", "", "", "", reason=facts.remaining, note=facts.remaining_detail), rules)
    return [Statement(f"The examination was ended before the survey was complete: {told}.", kind="unseen")]


def _not_examined(ended: list[Ended], rules: Rules) -> list[Statement]:
    return [
        Statement(f"{titles} ({why}).", label="Not examined", kind="unseen")
        for why, titles in _by_reason(_left(ended, rules), rules)
    ]


def _not_seen(ended: list[Ended], rules: Rules) -> list[Statement]:
    return [
        Statement(f"{titles} ({why}).", label="Looked for, not seen", kind="unseen")
        for why, titles in _by_reason(_looked_for(ended, rules), rules)
    ]


def _in_part(ended: list[Ended], rules: Rules) -> list[Statement]:
    return [
        Statement(f"{titles} ({why}).", label="Seen in part only", kind="part")
        for why, titles in _by_reason(_of_kind(ended, "seen-part"), rules)
    ]


def _by_reason(ended: Iterable[Ended], rules: Rules) -> list[tuple[str, str]]:
    """Structures that share a reason share a statement."""
    groups: dict[str, list[str]] = {}
    for step, how in ended:
        blank = {"blank": "nothing was recorded", "deferred": "put off and not looked at again"}.get(how.kind)
        groups.setdefault(blank or reason(how.entry, rules), []).append(step.rule.title)
    return [(why, "; ".join(titles)) for why, titles in groups.items()]


def _absent(ended: list[Ended]) -> list[Statement]:
    surgical = [
        f"{s.rule.title} ({words.one_line(o.entry.note if o.entry and o.entry.note else s.rule.operation)})"
        for s, o in _of_kind(ended, "absent-surgical")
    ]
    unexplained = [s.rule.title for s, _ in _of_kind(ended, "absent-unexplained")]
    return [
        *([Statement(f"{'; '.join(surgical)}.", label="Absent after surgery", kind="absent")] if surgical else []),
        *(
            [Statement(f"{'; '.join(unexplained)}.", label="Not found, without an operation on record", kind="unseen")]
            if unexplained
            else []
        ),
    ]


def _excused(facts: ReportFacts, rules: Rules) -> list[Statement]:
    groups: dict[str, list[str]] = {}
    for step in scanned(facts):
        for entry in recorded(step, "excused"):
            item = item_words(entry.item.partition(":")[2], step, rules=rules, species=facts.animal.species)
            groups.setdefault(reason(entry, rules), []).append(f"{item} ({words.lower(step.rule.title)})")
    return [Statement(f"{'; '.join(v)}: {why}.", label="Not recorded") for why, v in groups.items()]


def item_words(item: str, step: Step, *, rules: Rules, species: str) -> str:
    """An owed or excused item in words: a view, a still image, a clip, a measurement, a statement."""
    head, _, key = item.partition(":")
    if head == "plane":
        return f"view in {words.PLANES.get(key, key)}"
    if head == "measure":
        row = rules.measures.get((species, step.rule.structure, key))
        return words.lower(row.title if row else key.replace("_", " ").replace("-", " "))
    return {"still": "still image", "clip": "clip"}.get(head, key.replace("-", " ") or head)


def _not_begun(ended: list[Ended]) -> list[Statement]:
    titles = [s.rule.title for s, _ in _of_kind(ended, "blank") if not s.rule.owed_from_start]
    if not titles:
        return []
    return [Statement(f"{'; '.join(titles)}.", label="Optional, nothing recorded and nothing stated")]


def _outside(facts: ReportFacts, rules: Rules) -> list[Statement]:
    names = [rules.structures[k].title if k in rules.structures else k for k in facts.out_of_scope]
    if names:
        return [Statement(f"{'; '.join(names)}.", label="Outside the order, not examined", kind="unseen")]
    if facts.service.scope == "full":
        return []
    return [
        Statement("This was a limited examination: a structure that is not named here was not examined.", kind="unseen")
    ]


def _unread(facts: ReportFacts) -> list[Statement]:
    """Where something was sent that nobody could read: the structure's statement may be incomplete."""
    titles = [s.rule.title for s in scanned(facts) if recorded(s, "unread")]
    return (
        [Statement(f"{'; '.join(titles)}.", label="Sent in codes not understood here", kind="unseen")] if titles else []
    )


def _unplaced(facts: ReportFacts) -> list[Statement]:
    if not facts.unmapped:
        return []
    verb = "is" if facts.unmapped == 1 else "are"
    many = words.count(facts.unmapped, "entry", "entries")
    return [
        Statement(
            f"{many} sent with codes that lead to no structure of the survey {verb} kept with the exam "
            "and not described in this report.",
            kind="unseen",
        )
    ]
