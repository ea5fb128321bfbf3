"""What was found or stated of a structure into what a person should think of; nothing that is owed."""

from collections.abc import Iterable

from service.exam.entries import disposition, kind
from service.exam.noted import findings
from service.exam.rules import Prompt
from service.exam.survey import Step


def prompts(step: Step, vocabulary: str, rows: Iterable[Prompt]) -> tuple[str, ...]:
    """The texts of the rows that apply to the step as it stands. vocabulary: that of its structure."""
    noted = findings(step)
    noted["disposition"] = {kind(disposition(step))}
    fitting = (r for r in rows if r.vocabulary in {"", vocabulary})
    return tuple(r.text for r in fitting if _holds(r.when, noted) and not _holds(r.unless, noted))


def _holds(condition: str, noted: dict[str, set[str]]) -> bool:
    key, _, wanted = condition.partition("=")
    return bool(noted.get(key, set()) & set(wanted.split("|")))
