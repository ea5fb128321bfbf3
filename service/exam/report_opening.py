"""Turns who and why into the sections before the findings: identity, question, preparation."""

from datetime import date

from service.exam import report_words as words
from service.exam.animal import Animal
from service.exam.report_facts import Preparation, ReportFacts
from service.exam.report_parts import Rules, Section, Statement
from service.exam.report_phrases import label, say
from service.exam.report_step import Ended, recorded, windows

UNKNOWN = "not stated"
FASTING = {
    "fasted": "fasted", "F": "fasted",
    "not-fasted": "not fasted", "NF": "not fasted",
    "not-given": UNKNOWN, "NG": UNKNOWN,
}  # fmt: skip
NOTED = ("recumbency", "probe", "clipping", "ideal-weight", "stability", "azotaemia", "heat")
"""What may be noted of the whole exam and is told only where it was."""
UNSEDATED = ("none", "no", "not-sedated", "not sedated")


def identity_section(facts: ReportFacts, rules: Rules, *, title: str, ended: Ended) -> Section:
    """Who was examined, for whom, when; each unknown is said to be unknown."""
    animal = facts.animal
    rows = (
        ("practice", facts.practice),
        ("animal", animal.name),
        ("identifier", words.series([i.value for i in animal.identifiers])),
        ("owner", facts.owner),
        ("species", animal.species),
        ("breed", animal.breed),
        ("sex", words.sex(animal)),
        ("age", _age(animal, facts)),
        ("weight", _weight(animal, facts)),
        ("referrer", facts.requester),
        ("examination", facts.service.title),
        ("order-number", words.series([i.value for i in facts.numbers])),
        ("examined", words.moment(facts.started, zone=facts.zone)),
        ("report-issued", words.moment(facts.issued, zone=facts.zone)),
    )
    return Section(
        "identity",
        title,
        tuple(Statement(words.one_line(text) or UNKNOWN, label=label(rules.phrases, key)) for key, text in rows),
    )


def question_section(facts: ReportFacts, rules: Rules, *, title: str, ended: Ended) -> Section:
    """What was asked, and the history that came with it."""
    asked = words.clean(facts.question) or say(rules.phrases, "no-question")
    told = [("question", asked), *(("history", words.clean(h)) for h in facts.history if words.clean(h))]
    statements = [Statement(text, label=label(rules.phrases, key), kind="authored") for key, text in told]
    return Section("question", title, tuple(statements))


def preparation_section(facts: ReportFacts, rules: Rules, *, title: str, ended: Ended) -> Section:
    """How the animal was prepared and what was used; what nobody stated is said to be not stated."""
    had = facts.preparation
    rows = (
        ("scope", f"{facts.service.title}."),
        ("fasting", words.sentence(fasting(had) or UNKNOWN)),
        ("sedation", words.sentence(_sedation(had))),
        ("doppler", words.sentence(_doppler(facts, rules))),
        ("windows", words.sentence(_windows(facts))),
        *((key, words.sentence(_noted(had.noted[key]))) for key in NOTED if had.noted.get(key)),
    )
    others = [Statement(words.clean(o), kind="authored") for o in had.others if words.clean(o)]
    labelled = [Statement(text, label=label(rules.phrases, key)) for key, text in rows]
    return Section("preparation", title, (*labelled, *others))


def fasting(had: Preparation) -> str:
    """The fasting state in words, HL7 table 0916's codes among them; "" when nobody stated it."""
    return FASTING.get(had.fasting, words.one_line(had.fasting))


def sedated(had: Preparation) -> bool:
    """Whether a sedation was stated."""
    return bool(had.sedation) and had.sedation.lower() not in UNSEDATED


def doppler_used(facts: ReportFacts, rules: Rules) -> bool:
    """Whether Doppler was stated, or shown by what was recorded."""
    if facts.preparation.doppler or any(e.sighting.doppler for e in facts.evidence if not e.sighting.retracted):
        return True
    taken = ((s.rule.structure, e.item.partition(":")[2]) for s in facts.steps for e in recorded(s, "measure"))
    rows = (rules.measures.get((facts.animal.species, *one)) for one in taken)
    return any(row.doppler for row in rows if row)


def _noted(text: str) -> str:
    """A person's words on one line; a code such as left-lateral as words."""
    plain = words.one_line(text)
    return plain.replace("-", " ") if " " not in plain else plain


def _sedation(had: Preparation) -> str:
    if not had.sedation:
        return UNKNOWN
    return words.one_line(had.sedation) if sedated(had) else "not sedated"


def _doppler(facts: ReportFacts, rules: Rules) -> str:
    if doppler_used(facts, rules):
        return "used"
    return "not used" if facts.preparation.doppler is False else "nothing recorded with Doppler"


def _windows(facts: ReportFacts) -> str:
    return words.series(windows(*facts.steps)) or UNKNOWN


def _age(animal: Animal, facts: ReportFacts) -> str:
    try:
        at = date.fromisoformat(facts.started[:10])
    except ValueError:
        return ""
    if animal.born is None:
        return ""
    old = words.age(animal.born, at)
    return f"{old} (born {words.day(animal.born)})" if old else f"born {words.day(animal.born)}, after the examination"


def _weight(animal: Animal, facts: ReportFacts) -> str:
    if animal.weight_kg is None:
        return ""
    when = f"weighed {words.moment(animal.weight_at, zone=facts.zone)}" if animal.weight_at else "date not stated"
    days = facts.circumstances.weight_days if facts.circumstances else None
    when += f", {words.count(days, 'day')} before the examination" if days else ""
    return f"{words.digits(animal.weight_kg)} kg ({when})"
