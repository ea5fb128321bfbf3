"""Turns the records of focal lesions on one step into sentences, and tells their diameters apart by number."""

from service.exam import lesion
from service.exam import report_words as words
from service.exam.evidence import Evidence
from service.exam.follow_up import LESION
from service.exam.report_parts import Rules
from service.exam.report_phrases import say
from service.exam.report_step import Known, recorded, resting
from service.exam.survey import Step


def lesions(step: Step, rules: Rules, *, known: Known) -> list[str]:
    """One sentence for each record: its number, its place and what it is like."""
    found = [(e.item.partition(":")[2], one) for e in recorded(step, LESION) for one in resting(e, known)]
    return [_sentence(number, one, rules) for number, one in found]


def titled(title: str, key: str, seen: Evidence | None) -> str:
    """The title of a measurement; that of a lesion's diameter with the lesion's number."""
    which = seen.sighting.which if seen and key.startswith(f"{LESION}-") else ""
    return title.replace("the lesion", f"lesion {which}") if which else title


def _sentence(number: str, one: Evidence, rules: Rules) -> str:
    place, said = lesion.told(one.sighting)
    told = ", ".join(words.lower(words.one_line(w)) for w in said)
    if not told:
        return say(rules.phrases, "lesion-bare", number=number)
    if not place:
        return say(rules.phrases, "lesion", number=number, words=told)
    return say(rules.phrases, "lesion-placed", number=number, place=words.one_line(place), words=told)
