"""What is wrong with a row about limits, told with its file and line."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import product

from service.catalogue.measurements import MeasureKey
from service.catalogue.rows_limits import ChoiceRow, LimitRow, TableRow
from service.catalogue.sheets import Line, Placed, Sheets
from service.exam.limits import Band, Limit
from service.exam.rules import MeasureRule

SPECIES = frozenset({"dog", "cat"})


def choices(sheets: Sheets, tables: Sequence[Placed[TableRow]], picked: Sequence[Placed[ChoiceRow]]) -> None:
    """Each choice names one of its own tables, and every choice is made."""
    own = {(p.row.choice, p.row.table) for p in tables}
    for choice in picked:
        if (choice.row.choice, choice.row.table) not in own:
            sheets.fault(choice.line, f'"{choice.row.table}" is no table of {choice.row.choice} in limit-tables.csv')
    made = sheets.known("limit-choices.csv", "choice")
    for table in tables:
        if table.row.choice not in made:
            sheets.fault(table.line, f"no table of {table.row.choice} is chosen in limit-choices.csv")
        measures, about = (table.row.measure,), (table.row.species,)
        named(sheets, table.line, structures=table.row.structures, measures=measures, species=about)


def named(
    sheets: Sheets, line: Line, *, structures: Iterable[str], measures: Iterable[str], species: Iterable[str]
) -> None:
    """Structures, measurements and species that a row names are there."""
    for structure in set(structures) - sheets.known("structures.csv", "structure"):
        sheets.fault(line, f'structure "{structure}" is not in structures.csv')
    for measure in set(measures) - sheets.known("measures.csv", "measure"):
        sheets.fault(line, f'measure "{measure}" is not in measures.csv')
    for one in set(species) - SPECIES:
        sheets.fault(line, f'species "{one}" is neither dog nor cat')


def row(
    sheets: Sheets,
    placed: Placed[LimitRow],
    limit: Limit,
    *,
    measures: dict[MeasureKey, MeasureRule],
    places: Collection[str],
) -> None:
    """What the row names is there; one that drives a flag has a limit to drive it by, and no source from memory."""
    measured = (limit.measure,) if limit.measure else ()
    named(sheets, placed.line, structures=limit.structures, measures=measured, species=limit.species)
    for text in (*_unknown(sheets, limit, places), *_ends(limit), *_flagging(sheets, limit, measures)):
        sheets.fault(placed.line, text)


def _unknown(sheets: Sheets, limit: Limit, places: Collection[str]) -> Iterator[str]:
    for place in set(limit.places) - set(places):
        yield f'place "{place}" is not in places.csv'
    for plane in set(limit.planes) - sheets.known("planes.csv", "plane"):
        yield f'plane "{plane}" is not in planes.csv'
    if limit.table and limit.table not in sheets.known("limit-tables.csv", "table"):
        yield f'table "{limit.table}" is not in limit-tables.csv'
    if not limit.species or set(limit.in_force) - set(limit.species):
        yield "in_default_set names a species that the row is not about"


def _ends(limit: Limit) -> Iterator[str]:
    if limit.low is not None and limit.high is not None and limit.low >= limit.high:
        yield f"low {limit.low} is not below high {limit.high}"
    band = limit.band
    if band.low is not None and band.high is not None and band.low >= band.high:
        yield f"weight_min {band.low} is not below weight_max {band.high}"
    if band.bounded and not band.words:
        yield "a band of weights needs its words"


def _flagging(sheets: Sheets, limit: Limit, measures: dict[MeasureKey, MeasureRule]) -> Iterator[str]:
    if not limit.flags:
        if limit.in_force:
            yield "in_default_set is for rows that flag"
        return
    if limit.source.evidence in {"MEM", "NOT-FOUND"}:
        yield f"a row of evidence {limit.source.evidence} drives no flag"
    if ("H" in limit.flags and limit.high is None) or ("L" in limit.flags and limit.low is None):
        yield f"{limit.use} needs the end that it flags beyond"
    yield from _grey(limit)
    yield from _measured(sheets, limit, measures)


def _measured(sheets: Sheets, limit: Limit, measures: dict[MeasureKey, MeasureRule]) -> Iterator[str]:
    """What is flagged is measured, in that unit."""
    for species, structure in product(limit.species, limit.structures):
        rule = measures.get((species, structure, limit.measure))
        if rule is None and structure in sheets.known("structures.csv", "structure"):
            yield f"{structure} {limit.measure} has no range for the {species} in measure-ranges.csv"
        elif rule is not None and rule.unit != limit.unit:
            yield f'unit "{limit.unit}" is not that of {limit.measure}, {rule.unit}'


def _grey(limit: Limit) -> Iterator[str]:
    if limit.grey is None:
        return
    above = "H" in limit.flags and limit.high is not None and limit.grey > limit.high
    below = "L" in limit.flags and limit.low is not None and limit.grey < limit.low
    if above == below:
        yield f"grey {limit.grey} lies beyond the one end that is flagged"


def meets(sheets: Sheets, placed: Placed[LimitRow], limit: Limit, *, others: Iterable[Limit]) -> None:
    """No two rows in force may hold for the same measurement of the same animal."""
    for other in others:
        if _same(limit, other) and not _apart(limit.band, other.band) and not _different(limit, other):
            sheets.fault(placed.line, f"{limit.id} and {other.id} are in force for the same measurement of one animal")


def _same(limit: Limit, other: Limit) -> bool:
    about = limit.measure == other.measure and set(limit.structures) & set(other.structures)
    return bool(about and set(limit.in_force) & set(other.in_force))


def _different(limit: Limit, other: Limit) -> bool:
    """Whether place, plane, sex or neutering tells them apart."""
    words = ((limit.places, other.places), (limit.planes, other.planes))
    apart = any(a and b and not set(a) & set(b) for a, b in words)
    sexes = bool(limit.sex and other.sex and limit.sex != other.sex)
    neutered = limit.neutered is not None and other.neutered is not None and limit.neutered != other.neutered
    return apart or sexes or neutered


def _apart(one: Band, other: Band) -> bool:
    """Whether no weight lies in both bands."""
    return _below(one, other) or _below(other, one)


def _below(one: Band, other: Band) -> bool:
    if one.high is None or other.low is None:
        return False
    return one.high < other.low or (one.high == other.low and not (one.high_included and other.low_included))
