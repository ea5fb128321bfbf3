"""The findings of a step into what was noted, and which questions about its structure are asked then."""

from collections.abc import Mapping, Sequence

from service.exam.entries import live
from service.exam.rules import Attribute, Value
from service.exam.survey import Step


def findings(step: Step) -> dict[str, set[str]]:
    """attribute key -> the value codes noted."""
    found: dict[str, set[str]] = {}
    for entry in live(step):
        if entry.item.startswith("finding:"):
            found.setdefault(entry.item.partition(":")[2], set()).add(entry.value)
    return found


def values(step: Step, attributes: Sequence[Attribute]) -> list[tuple[Attribute, Value]]:
    """The words of the vocabulary that were noted, in its order."""
    noted = findings(step)
    return [(a, v) for a in attributes if a.key in noted for v in a.values if v.code in noted[a.key]]


def asked(step: Step, attributes: Sequence[Attribute], filled: Mapping[str, str] | None = None) -> list[Attribute]:
    """The attributes that are asked, given the findings noted (and those about to be filled in)."""
    known = findings(step)
    for key, value in (filled or {}).items():
        known.setdefault(key, set()).add(value)
    return [a for a in attributes if _is_asked(a.asked_when, known)]


def _is_asked(condition: str, known: Mapping[str, set[str]]) -> bool:
    if not condition:
        return True
    key, _, wanted = condition.partition("!=" if "!=" in condition else "=")
    noted = known.get(key.rpartition(".")[2], set())
    code = wanted.rpartition(".")[2]
    return any(v != code for v in noted) if "!=" in condition else code in noted
