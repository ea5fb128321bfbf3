"""A limit into the words by which a person reads it: what lies inside, for whom, and by whom it was published."""

from collections.abc import Iterator
from decimal import Decimal

from service.exam.limits import Limit


def unit_words(unit: str) -> str:
    """A unit as people read it: a bare number and annotations in braces have none."""
    return "" if unit == "1" or unit.startswith("{") else unit


def ends(limit: Limit) -> str:
    """What lies inside, by the sides that flag: "at most 6.4 mm", "5.5 to 9.1", "below 1.0 mm", "at least 0.8"."""
    low, high = limit.low, limit.high
    if limit.flags >= {"H", "L"}:
        return _between(limit)
    if "L" in limit.flags:
        return _with_unit(f"{'at least' if limit.low_inside else 'above'} {low}", limit)
    if "H" in limit.flags:
        return _with_unit(f"{'at most' if limit.high_inside else 'below'} {high}", limit)
    return _published(limit)


def _published(limit: Limit) -> str:
    """The figures of a row that is only shown."""
    if limit.low is not None and limit.high is not None:
        return _between(limit)
    mean = "mean " if limit.statistic.startswith("mean") else ""  # of a share of animals it is the share itself
    known = [(limit.high, "up to "), (limit.low, "from "), (limit.mean, mean), (limit.median, "median ")]
    said = next((f"{word}{value}" for value, word in known if value is not None), "")
    spread = f" ± {limit.sd}" if limit.sd is not None and said.startswith("mean") else ""
    return _with_unit(said + spread, limit) if said else limit.formula or "no figure"


def _between(limit: Limit) -> str:
    above, below = "" if limit.low_inside else "above ", "" if limit.high_inside else "below "
    return _with_unit(f"{above}{limit.low} to {below}{limit.high}", limit)


def _with_unit(text: str, limit: Limit) -> str:
    return f"{text} {unit_words(limit.unit)}".rstrip()


def holds_for(limit: Limit) -> tuple[str, ...]:
    """For which animals the limit holds beside the species, a phrase for each condition."""
    return tuple(_conditions(limit))


def _conditions(limit: Limit) -> Iterator[str]:
    if limit.band.words:
        yield limit.band.words
    if limit.neutered is not None or limit.sex:
        state = {True: "neutered ", False: "intact ", None: ""}[limit.neutered]
        yield f"{state}{limit.sex}".strip()
    if limit.age_min_months is not None:
        yield f"from {limit.age_min_months} months of age"
    if limit.condition:
        yield limit.condition
    elif limit.sedated is False:
        yield "not sedated"
    if limit.places:
        yield " or ".join(p.replace("-", " ") for p in limit.places)


def grey(limit: Limit) -> str:
    """The grey zone beyond the limit, as a sentence; "" when there is none."""
    if limit.grey is None:
        return ""
    end: Decimal | None = limit.high if "H" in limit.flags else limit.low
    return f"From {end} to {_with_unit(str(limit.grey), limit)} lies a grey zone."


def spoken(limit: Limit) -> str:
    """The limit in one text: what lies inside, for whom, what kind of figure, who published it and when."""
    whom = ", ".join(holds_for(limit))
    about = f" ({whom})" if whom else ""
    told = f"{ends(limit)}{about}: {limit.source.words}, {limit.statistic}."
    soft = "Sources disagree: read the flag as a hint." if limit.soft else ""
    return " ".join(part for part in (told[:1].upper() + told[1:], grey(limit), soft) if part)
