"""Turns the coded findings of one step into clauses: what differs from expected, what does not, what was left."""

from collections.abc import Sequence
from dataclasses import dataclass

from service.exam import report_words as words
from service.exam.report_parts import Rules
from service.exam.report_phrases import MANY, ONE, say
from service.exam.report_step import Known, recorded, resting
from service.exam.rules import Attribute, Value
from service.exam.survey import Step

NOT_ASSESSED = ("not-assessed", "not-done", "not-tested")
IN_ONE_SENTENCE = 4
ALL = "*"  # the vocabulary of clauses that hold for every one


@dataclass(frozen=True, slots=True)
class Findings:
    """Clauses of one structure, each in the vocabulary's order; unassessed are the titles of attributes."""

    noted: tuple[str, ...] = ()
    calm: tuple[str, ...] = ()
    unassessed: tuple[str, ...] = ()

    @property
    def lead(self) -> str:
        """What differs from expected; "" when nothing does."""
        return sentences(self.noted)

    def rest(self, rules: Rules, *, part: bool) -> list[str]:
        """What does not differ and what was left; part: the structure was seen in part, so nothing is called normal."""
        return [text for text in (self._calm(rules, part=part), self._left(rules)) if text]

    def _calm(self, rules: Rules, *, part: bool) -> str:
        if part and not self.noted:
            named = joined(self.calm)
            return say(rules.phrases, "calm-in-part", clauses=named) if named else ""
        if not self.noted:
            return sentences(self.calm)
        first, rest = self.calm[:IN_ONE_SENTENCE], self.calm[IN_ONE_SENTENCE:]
        opening = say(rules.phrases, "otherwise", clauses=joined(first)) if first else ""
        return f"{opening} {sentences(rest)}".strip()

    def _left(self, rules: Rules) -> str:
        if not self.unassessed:
            return ""
        number = "one" if len(self.unassessed) == 1 else "many"
        named = words.series([words.lower(title) for title in self.unassessed])
        return words.sentence(say(rules.phrases, f"not-assessed-{number}", attributes=named))


def sentences(clauses: Sequence[str]) -> str:
    """Clauses as sentences, a few in each."""
    groups = [clauses[i : i + IN_ONE_SENTENCE] for i in range(0, len(clauses), IN_ONE_SENTENCE)]
    return " ".join(words.sentence(joined(group)) for group in groups)


def joined(clauses: Sequence[str]) -> str:
    """Clauses as one phrase; semicolons part those that hold commas or colons of their own."""
    return words.series(clauses, mark=";" if any(set(one) & set(",:") for one in clauses) else ",")


def findings(step: Step, rules: Rules, *, known: Known) -> Findings:
    """The findings entered for a step. Two different values of one attribute are both told, in their order."""
    structure = rules.structures.get(step.rule.structure)
    vocabulary = structure.vocabulary if structure else ""
    rows = {a.key: a for a in rules.vocabularies.get(vocabulary, ())}
    number = MANY if step.rule.structure in rules.plurals else ONE
    groups: dict[str, list[str]] = {"noted": [], "calm": [], "unassessed": []}
    given = _values(step, known)
    for key in sorted(given, key=lambda k: list(rows).index(k) if k in rows else len(rows)):
        stated = [c for c in given[key] if c and c not in NOT_ASSESSED]
        if not stated:
            groups["unassessed"].append(_title(rows.get(key), key))
            continue
        values = [_value(rows.get(key), c) for c in stated]
        clauses = [_clause(rules, vocabulary, rows.get(key), key, value=v).format(**number) for v in values]
        differs = len(values) > 1 or any(v.grade > 0 for v in values)
        groups["noted" if differs else "calm"].append("; stated besides: ".join(clauses))
    return Findings(**{name: tuple(many) for name, many in groups.items()})


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


def _clause(rules: Rules, vocabulary: str, attribute: Attribute | None, key: str, *, value: Value) -> str:
    """The row of a value, else one made of what it is called."""
    code = value.code.rpartition(".")[2]
    row = rules.clauses.get((vocabulary, key, code)) or rules.clauses.get((ALL, key, code))
    if row:
        return row
    said = f"{words.lower(_title(attribute, key))}: {words.lower(value.display)}"
    return said.replace("{", "{{").replace("}", "}}")


def _title(attribute: Attribute | None, key: str) -> str:
    return attribute.title if attribute else key.replace("-", " ").capitalize()


def _value(attribute: Attribute | None, code: str) -> Value:
    """The row of a value; a code without a row is told as it is."""
    rows = attribute.values if attribute else ()
    found = [v for v in rows if v.code.rpartition(".")[2] == code]
    return found[0] if found else Value(code, code.replace("-", " "), False, 0)
