"""Turns what was not seen, left out or excused into the limits section, so that silence never reads as normal."""

from service.exam import report_verdict
from service.exam import report_words as words
from service.exam.report_facts import ReportFacts
from service.exam.report_findings import UNFINISHED, operation, reason
from service.exam.report_parts import Rules, Section, Statement
from service.exam.report_phrases import label, say
from service.exam.report_step import Ended, recorded
from service.exam.report_uncomputed import not_computed
from service.exam.report_unseen import Unseen, titles, unseen
from service.exam.survey import Entry, Step


def limits_section(facts: ReportFacts, rules: Rules, *, title: str, ended: Ended, findings: Section) -> Section:
    """What limited the examination: each structure by name, with its reason; "nothing did" is said too."""
    sorted_out = unseen(ended, rules)
    told = [
        *_stopped(facts, rules),
        *_grouped(not_examined(facts, rules), sorted_out.left, rules=rules),
        *_grouped(label(rules.phrases, "sought"), sorted_out.sought, rules=rules),
        *_listed(label(rules.phrases, "missing"), titles(sorted_out.missing), kind="unseen"),
        *_grouped(label(rules.phrases, "part"), sorted_out.part, rules=rules, kind="part"),
        *_listed(label(rules.phrases, "absent"), _absent(sorted_out), kind="absent"),
        *_excused(ended, facts=facts, rules=rules),
        *_listed(label(rules.phrases, "optional"), titles(sorted_out.optional)),
        *_outside(facts, rules),
        *_unread(ended, facts, rules),
        *not_computed(facts, rules),
    ]
    compared = [] if facts.comparison or facts.trends else [Statement(say(rules.phrases, "no-comparison"))]
    judged = report_verdict.explained(findings, rules, species=facts.animal.species)
    return Section("limits", title, (*_complete(ended, sorted_out, rules), *told, *judged, *compared))


def not_examined(facts: ReportFacts, rules: Rules) -> str:
    """What structures are called that nobody looked at: of an open exam it may still come."""
    return label(rules.phrases, "not-examined-yet" if facts.edition.status in UNFINISHED else "not-examined")


def _complete(ended: Ended, sorted_out: Unseen, rules: Rules) -> list[Statement]:
    if sorted_out.any or not ended:
        return []
    return [Statement(say(rules.phrases, "complete-but-absent" if sorted_out.absent else "complete"))]


def _listed(called: str, names: list[str], *, kind: str = "plain") -> list[Statement]:
    return [Statement(f"{'; '.join(names)}.", label=called, kind=kind)] if names else []


def _stopped(facts: ReportFacts, rules: Rules) -> list[Statement]:
    if not facts.remaining:
        return []
    told = reason(Entry("", "", "", "", reason=facts.remaining, note=facts.remaining_detail), rules)
    return [Statement(say(rules.phrases, "ended-early", reason=told), kind="unseen")]


def _grouped(called: str, ended: Ended, *, rules: Rules, kind: str = "unseen") -> list[Statement]:
    """Structures that share a reason share a statement."""
    groups: dict[str, list[str]] = {}
    for step, how in ended:
        own = {"blank": "nothing was recorded", "deferred": "put off and not looked at again"}.get(how.kind)
        groups.setdefault(own or reason(how.entry, rules), []).append(step.rule.title)
    return [Statement(f"{'; '.join(names)}. Reason: {why}.", label=called, kind=kind) for why, names in groups.items()]


def _absent(sorted_out: Unseen) -> list[str]:
    return [f"{step.rule.title} ({operation(step, how.entry)})" for step, how in sorted_out.absent]


def _excused(ended: Ended, *, facts: ReportFacts, rules: Rules) -> list[Statement]:
    groups: dict[str, list[str]] = {}
    for step, _ in ended:
        # what "seen in part" left unsaid stands in the structure's own statement
        for entry in (e for e in recorded(step, "excused") if not e.item.startswith("excused:finding:")):
            item = item_words(entry.item.partition(":")[2], step, rules=rules, species=facts.animal.species)
            groups.setdefault(reason(entry, rules), []).append(f"{item} ({words.lower(step.rule.title)})")
    called = label(rules.phrases, "not-recorded")
    return [Statement(f"{'; '.join(v)}. Reason: {why}.", label=called) for why, v in groups.items()]


def item_words(item: str, step: Step, *, rules: Rules, species: str) -> str:
    """An owed or excused item in words: a view, a still image, a clip, a measurement, a statement."""
    head, _, key = item.partition(":")
    if head == "plane":
        return f"view in {words.PLANES.get(key, key)}"
    if head == "measure":
        row = rules.measures.get((species, step.rule.structure, key))
        return words.lower(row.title if row else key.replace("_", " ").replace("-", " "))
    return {"still": "still image", "clip": "clip"}.get(head, key.replace("-", " ") or head)


def _outside(facts: ReportFacts, rules: Rules) -> list[Statement]:
    met = {e.structure for e in facts.evidence if not e.sighting.retracted}  # told among the findings
    left = [key for key in facts.out_of_scope if key not in met]
    names = [rules.structures[k].title if k in rules.structures else k for k in left]
    if names or facts.service.scope == "full":
        return _listed(label(rules.phrases, "outside"), names, kind="unseen")
    return [Statement(say(rules.phrases, "limited"), kind="unseen")]


def _unread(ended: Ended, facts: ReportFacts, rules: Rules) -> list[Statement]:
    """What was sent and could not be read: by structure where it is known, else as a count."""
    names = [step.rule.title for step, _ in ended if recorded(step, "unread")]
    known = _listed(label(rules.phrases, "unread"), names, kind="unseen")
    if not facts.unmapped:
        return known
    verb = "is" if facts.unmapped == 1 else "are"
    many = words.count(facts.unmapped, "entry", "entries")
    text = (
        f"{many} sent with codes that lead to no structure of the survey {verb} kept with the exam "
        "and not described in this report."
    )
    return [*known, Statement(text, kind="unseen")]
