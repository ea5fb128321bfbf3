"""Turns the rows of a protocol into the steps of each species, and the reasons for not seeing into reasons."""

from collections.abc import Iterable

from service.catalogue.measurements import SPECIES, MeasureKey
from service.catalogue.rows_survey import ReasonRow, StationRow, StepRow
from service.catalogue.sheets import Placed, Sheets
from service.exam.rules import MeasureRule, Protocol, Reason, StepRule

FILE = "protocols/abdomen.csv"
DISPOSITIONS = frozenset({"not-seen", "seen-part", "absent-surgical", "absent-unexplained", "excused"})


def protocols(sheets: Sheets, *, measures: dict[MeasureKey, MeasureRule]) -> dict[str, Protocol]:
    """The protocol of each species, its steps in scanning order; rows that do not apply make no step."""
    titles = {p.row.station: p.row.title for p in sheets.read("stations.csv", StationRow)}
    rows = sheets.read(FILE, StepRow)
    for placed in rows:
        _check(placed, sheets, measures)
    return {name: _protocol(name, rows, sheets, titles=titles) for name in ("dog", "cat")}


def _protocol(name: str, rows: Iterable[Placed[StepRow]], sheets: Sheets, *, titles: dict[int, str]) -> Protocol:
    steps: dict[str, StepRule] = {}
    places: set[tuple[int, int]] = set()
    for placed in rows:
        row = placed.row
        if name not in SPECIES[row.species] or row.requirement == "not-applicable":
            continue
        if row.step in steps or (row.station, row.sequence) in places:
            sheets.fault(placed.line, f"the {name} has this step or this place in the sequence already")
        places.add((row.station, row.sequence))
        steps[row.step] = _step(row, titles, species=name)
    for placed in rows:
        if name in SPECIES[placed.row.species]:
            _settles(placed, sheets, steps)
    ordered = sorted(steps.values(), key=lambda s: (s.station, s.sequence))
    return Protocol(f"abdomen-{name}", name, tuple(ordered))


def _step(row: StepRow, titles: dict[int, str], *, species: str) -> StepRule:
    return StepRule(
        code=row.step,
        station=row.station,
        station_title=titles.get(row.station, ""),
        sequence=row.sequence,
        structure=row.structure,
        title=row.title,
        requirement=row.requirement,
        sex=row.sex,
        neutered=row.neutered,
        special=row.special,
        planes=row.planes,
        stills=row.stills,
        clip=row.clip,
        measures=row.measures,
        may_measure=row.may_measure,
        windows=row.windows,
        operation=row.operation,
        settles=row.settles,
        species=species,
    )


def _check(placed: Placed[StepRow], sheets: Sheets, measures: dict[MeasureKey, MeasureRule]) -> None:
    row = placed.row
    if str(row.station) not in sheets.known("stations.csv", "station"):
        sheets.fault(placed.line, f"station {row.station} is not in stations.csv")
    if row.structure not in sheets.known("structures.csv", "structure"):
        sheets.fault(placed.line, f'structure "{row.structure}" is not in structures.csv')
    for plane in set(row.planes) - sheets.known("planes.csv", "plane"):
        sheets.fault(placed.line, f'plane "{plane}" is not in planes.csv')
    for measure in (*row.measures, *row.may_measure):
        for species in SPECIES[row.species]:
            if (species, row.structure, measure) not in measures:
                sheets.fault(placed.line, f'measure "{measure}" has no range for the {species} in measure-ranges.csv')


def _settles(placed: Placed[StepRow], sheets: Sheets, steps: dict[str, StepRule]) -> None:
    for code in placed.row.settles:
        if code not in steps:
            sheets.fault(placed.line, f'settles "{code}", which is no step')


def reasons(sheets: Sheets) -> dict[str, Reason]:
    """Reasons by code."""
    found: dict[str, Reason] = {}
    for placed in sheets.read("reasons.csv", ReasonRow):
        row = placed.row
        for name in set(row.dispositions) - DISPOSITIONS:
            sheets.fault(placed.line, f'disposition "{name}" is none of {", ".join(sorted(DISPOSITIONS))}')
        found[row.reason] = Reason(
            row.reason,
            row.display,
            row.group,
            row.needs_detail,
            row.counts_as_examined,
            row.price_effect,
            row.remaining,
            row.suggestion,
            row.dispositions,
        )
    return found
