"""Turns verdicts on measurements into the words of a report: beside the value, before the findings, in the limits."""

from collections.abc import Iterable, Sequence

from service.exam import limit_words
from service.exam import report_words as words
from service.exam.limits import Limit
from service.exam.report_parts import Measurement, Rules, Section, Statement
from service.exam.report_phrases import say
from service.exam.verdict import Verdict

NOT_COMPARED = "not compared with a limit"
NEVER = ("There is no limit", "No limit is in force")
MARKS = {"H": "above-limit", "L": "below-limit", "N": "within-limit"}
LEADS = {"H": "above", "L": "below"}


def limit(verdict: Verdict | None, rules: Rules) -> str:
    """What a value was compared with, for whom that holds and who published it, or why it was not compared."""
    if verdict is None:
        return NOT_COMPARED
    if verdict.flag and verdict.limit is not None:
        said = say(rules.phrases, MARKS[verdict.flag], limit=_spoken(verdict.limit))
        hint = verdict.soft and verdict.flag != "N"
        return f"{said}, {say(rules.phrases, 'hint')}" if hint else said
    if verdict.limit is None and verdict.reason.startswith(NEVER):
        return say(rules.phrases, "no-limit")
    return say(rules.phrases, "not-compared", reason=words.inside(verdict.reason))


def missed(verdict: Verdict | None, rows: Sequence[Limit]) -> bool:
    """Whether a limit exists for this measurement of this species, and none held for the animal or the look."""
    return bool(verdict and verdict.limit is None and any(row.flags and row.in_force for row in rows))


def _spoken(row: Limit) -> str:
    """ "at most 1.3 mm (<40 kg, fasted 8 h; J Vet Intern Med 2023)"."""
    whom = ", ".join(limit_words.holds_for(row))
    source = row.source.words + (f", table {row.table}" if row.table else "")
    return f"{limit_words.ends(row)} ({'; '.join(filter(None, (whom, source)))})"


def lead(many: Iterable[Measurement], rules: Rules) -> str:
    """The measurements that lie beyond their limit, as sentences for whoever reads no further."""
    told = []
    for flag, key in LEADS.items():
        for soft, hint in ((False, ""), (True, "-hint")):
            found = [f"{words.lower(m.title)} {m.value}" for m in many if m.flag == flag and m.soft is soft]
            told += [say(rules.phrases, key + hint, measurements="; ".join(found))] if found else []
    return " ".join(told)


def explained(findings: Section, rules: Rules, *, species: str) -> list[Statement]:
    """What the limits of this report are, where their sources disagree, and who published them."""
    steps = [s for s in findings.statements if s.measurements]
    if not steps:
        return []
    taken = [m for s in steps for m in s.measurements]
    used = {m.basis.id: m.basis for m in taken if m.basis is not None}
    if not used:
        return [Statement(say(rules.phrases, "none-compared"))]
    many = sum(1 for m in taken if m.basis is not None)
    key = "compared-one" if many == 1 else "compared-many"
    counted = say(rules.phrases, key, number=str(many), total=words.count(len(taken), "measurement"))
    return [Statement(counted), *_disagreements(used.values(), rules, species=species), *_sources(used.values())]


def _disagreements(used: Iterable[Limit], rules: Rules, *, species: str) -> list[Statement]:
    """Where sources disagree on what was judged here, which of them is in force."""
    told: dict[str, list[str]] = {}
    for row in used:
        for one in rules.disagreements:
            if species in one.species and row.measure in one.measures and set(row.structures) & set(one.structures):
                source = row.source.words + (f" (table {row.table})" if row.table else "")
                told.setdefault(one.topic, []).append(source)
    topics = [
        say(rules.phrases, "sources-disagree", topic=topic, sources=words.series(list(dict.fromkeys(names))))
        for topic, names in told.items()
    ]
    return [Statement(f"{'; '.join(topics)}.", label="Sources disagree on")] if topics else []


def _sources(used: Iterable[Limit]) -> list[Statement]:
    cited = sorted(dict.fromkeys(_cited(row) for row in used))
    return [Statement(" ".join(cited), label="Source of the limit" if len(cited) == 1 else "Sources of the limits")]


def _cited(row: Limit) -> str:
    """Authors, year, title, journal; what stands in brackets instead of authors only says that none are known."""
    source = row.source
    known = bool(source.authors) and not source.authors.startswith("(")
    year = f"({source.year})" if source.year else ""
    parts = (f"{source.authors} {year}".strip(), source.title, source.journal)
    if not known:
        parts = (source.title, f"{source.journal} {year}".strip(), "")
    return words.sentence(words.one_line(". ".join(p.rstrip(".") for p in parts if p)))
