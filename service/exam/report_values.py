"""Turns the coded findings of one step into words: what differs from expected, what does not, what was not assessed."""

from dataclasses import dataclass

from service.exam import report_words as words
from service.exam.report_parts import Rules
from service.exam.report_step import Known, recorded, resting
from service.exam.rules import Attribute, Value
from service.exam.survey import Step

NOT_ASSESSED = ("not-assessed", "not-done", "not-tested")


@dataclass(frozen=True, slots=True)
class Findings:
    """Phrases of one structure, each in the vocabulary's order; "" says no more than that it is as expected."""

    noted: tuple[str, ...] = ()
    expected: tuple[str, ...] = ()
    other: tuple[str, ...] = ()
    unassessed: tuple[str, ...] = ()

    @property
    def lead(self) -> str:
        """What differs from expected, as one sentence; "" when nothing does."""
        return f"Differs from expected: {'; '.join(self.noted)}." if self.noted else ""

    def sentences(self, *, part: bool) -> list[str]:
        """The rest, in at most three; part: the structure was seen in part, so nothing is called as expected."""
        calm = "No abnormality seen in the part that was seen" if part else "As expected"
        groups = (
            ("Also stated", self.other),
            (calm, self.expected),
            ("Not assessed", self.unassessed),
        )
        told = ((head, "; ".join(filter(None, phrases))) for head, phrases in groups if phrases)
        return [f"{head}: {phrase}." if phrase else f"{head}." for head, phrase in told]


def findings(step: Step, rules: Rules, *, known: Known) -> Findings:
    """The findings entered for a step. Two different values of one attribute are both told, in their order."""
    structure = rules.structures.get(step.rule.structure)
    rows = {a.key: a for a in rules.vocabularies.get(structure.vocabulary if structure else "", ())}
    groups: dict[str, list[str]] = {"noted": [], "expected": [], "other": [], "unassessed": []}
    given = _values(step, known)
    for key in sorted(given, key=lambda k: list(rows).index(k) if k in rows else len(rows)):
        group, phrase = _told(rows.get(key), key, codes=given[key])
        groups[group].append(phrase)
    return Findings(**{name: tuple(phrases) for name, phrases in groups.items()})


def _values(step: Step, known: Known) -> dict[str, list[str]]:
    """attribute key -> value codes in order, repeats left out; "" stands for "not assessed"."""
    given: dict[str, list[str]] = {key: [""] for key in unassessed(step)}
    for entry in recorded(step, "finding"):
        sent = (e.value for e in resting(entry, known) if e.value)
        code = (entry.value or next(sent, "")).rpartition(".")[2]
        codes = given.setdefault(entry.item.partition(":")[2], [])
        if code not in codes:
            codes.append(code)
    return given


def unassessed(step: Step) -> list[str]:
    """The attributes that were excused: said to be not assessed."""
    items = (e.item.split(":") for e in recorded(step, "excused"))
    return [parts[2] for parts in items if parts[1:2] == ["finding"] and len(parts) == 3]


def _told(attribute: Attribute | None, key: str, *, codes: list[str]) -> tuple[str, str]:
    title = attribute.title if attribute else key.replace("-", " ")
    stated = [c for c in codes if c and c not in NOT_ASSESSED]
    if not stated:
        return "unassessed", words.lower(title)
    values = [_value(attribute, c) for c in stated]
    phrase = words.lower(_phrase(title, ", then ".join(words.lower(v.display) for v in values)))
    if len(values) > 1 or any(v.grade > 0 for v in values):
        return "noted", phrase
    return ("expected" if values[0].default else "other"), phrase


def _value(attribute: Attribute | None, code: str) -> Value:
    """The row of a value; a code without a row is told as it is and never counts as expected."""
    rows = attribute.values if attribute else ()
    found = [v for v in rows if v.code.rpartition(".")[2] == code]
    return found[0] if found else Value(code, code.replace("-", " "), False, 0)


def _phrase(title: str, display: str) -> str:
    """Title and value as one would say them: "normal size", "echotexture coarse", "no free gas"."""
    if display in {"none", "as expected"}:
        return f"no {words.lower(title)}" if display == "none" else ""
    if title.split()[-1].lower().rstrip("s")[:5] in display.lower():
        return display
    mark = ":" if len(title.split()) > 2 or set(display) & set(":,") else ""
    return f"{title}{mark} {display}"
