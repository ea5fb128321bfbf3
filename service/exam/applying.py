"""The limits of one measurement into the one that holds for this animal, or the reasons why none does."""

from collections.abc import Iterator, Sequence
from decimal import Decimal

from service.exam.circumstances import Circumstances
from service.exam.limit_words import unit_words
from service.exam.limits import Band, Limit


def none_in_force(species: str, rows: Sequence[Limit]) -> str:
    """Why nothing judges: no source gives a limit, or those that do are only shown."""
    if rows:
        return f"No limit is in force for the {species}; published values are shown only."
    return f"There is no limit for this measurement in the {species}."


def not_beyond(limit: Limit) -> str:
    """Why a value that is not beyond a decision limit is not called normal."""
    if "H" in limit.flags:
        end = f"{'not above' if limit.high_inside else 'below'} {limit.high}"
    else:
        end = f"{'not below' if limit.low_inside else 'above'} {limit.low}"
    return (
        f"The value is {f'{end} {unit_words(limit.unit)}'.rstrip()}; {limit.source.words} does not say what is normal."
    )


def choose(rows: Sequence[Limit], known: Circumstances, *, plane: str = "", site: str = "") -> tuple[Limit | None, str]:
    """(the limit that holds, "") or (None, what is missing or outside, in words)."""
    banded = [row for row in rows if not row.band.bounded or _in_band(row.band, known)]
    if not banded:
        return None, _outside(rows, known)
    told = [(row, list(_obstacles(row, known, plane=plane, site=site))) for row in banded]
    row, reasons = min(told, key=lambda pair: len(pair[1]))
    return (None, " ".join(reasons)) if reasons else (row, "")


def _in_band(band: Band, known: Circumstances) -> bool:
    weight = _weight(band, known)
    return weight is not None and band.holds(weight)


def _weight(band: Band, known: Circumstances) -> Decimal | None:
    return known.ideal_weight_kg if band.ideal else known.weight_kg


def _outside(rows: Sequence[Limit], known: Circumstances) -> str:
    ideal = rows[0].band.ideal
    kind = "ideal weight" if ideal else "weight"
    weight = _weight(rows[0].band, known)
    if weight is None:
        return f"The {kind} is not known; the limit depends on it."
    bands = "; ".join(row.band.words for row in rows)
    return f"{rows[0].source.words} gives no limit for the {kind} of {weight} kg: {bands}."


def _obstacles(row: Limit, known: Circumstances, *, plane: str, site: str) -> Iterator[str]:
    yield from _of_the_look(row, plane=plane, site=site)
    yield from _of_the_animal(row, known)
    yield from _of_preparation(row, known)


def _of_the_look(row: Limit, *, plane: str, site: str) -> Iterator[str]:
    if row.places and site not in row.places:
        wanted = " or ".join(p.replace("-", " ") for p in row.places)
        yield f"The limit is for the place {wanted}; " + (
            f"this was taken at {site}." if site else "no place was said."
        )
    if row.planes and plane not in row.planes:
        wanted = " or ".join(row.planes)
        yield f"The limit is for the {wanted} plane; " + (f"this is {plane}." if plane else "no plane was said.")


def _of_the_animal(row: Limit, known: Circumstances) -> Iterator[str]:
    if row.age_min_months is not None:
        if known.age_months is None:
            yield f"The age is not known; the limit holds from {row.age_min_months} months."
        elif known.age_months < row.age_min_months:
            yield f"The limit does not hold under {row.age_min_months} months of age."
    if row.sex and row.sex != known.sex:
        yield f"The limit is for a {row.sex}" + ("." if known.sex else "; the sex is not known.")
    if row.neutered is not None and row.neutered is not known.neutered:
        yield "The limit is for " + ("neutered" if row.neutered else "intact") + " animals."


def _of_preparation(row: Limit, known: Circumstances) -> Iterator[str]:
    if row.fasted is not None and row.fasted is not known.fasted:
        yield _state("fasted" if row.fasted else "fed", known.fasted, "Whether the animal was fasted")
    if row.sedated is not None and row.sedated is not known.sedated:
        yield _state("sedated" if row.sedated else "unsedated", known.sedated, "Whether the animal was sedated")
    if row.recumbency and row.recumbency != known.recumbency:
        wanted = row.recumbency.replace("-", " ")
        yield _state(f"lying in {wanted} recumbency", known.recumbency or None, "How the animal lay")
    if row.fill and not known.fill:
        yield "The fill state of the bladder is not recorded; the limit depends on it."


def _state(wanted: str, found: object, question: str) -> str:
    unknown = f"{question} is not recorded; the" if found is None else "The"
    return f"{unknown} limit is for animals that were {wanted}."
