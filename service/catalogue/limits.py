"""Turns rows about limits into what judges each species, structure and measurement, and what is only shown."""

from collections.abc import Iterable, Mapping

from service.catalogue import limit_faults
from service.catalogue.limit_tables import Chosen
from service.catalogue.measurements import MeasureKey
from service.catalogue.rows_limits import (
    BreedRow,
    DisagreementRow,
    LimitRow,
    SettingRow,
)
from service.catalogue.sheets import Placed, Sheets
from service.exam.limits import Band, Disagreement, Limit, LimitKey, Limits, Source
from service.exam.rules import MeasureRule

FLAGS: Mapping[str, str] = {"flag-high": "H", "flag-low": "L", "flag-both": "HL"}


def limits(sheets: Sheets, *, measures: dict[MeasureKey, MeasureRule], chosen: Chosen) -> dict[str, Limit]:
    """Every row of limits.csv by its name, those that are only shown among them."""
    found: dict[str, Limit] = {}
    for placed in sheets.read("limits.csv", LimitRow):
        limit = _limit(placed, chosen)
        limit_faults.row(sheets, placed, limit, measures=measures, places=chosen.places)
        limit_faults.meets(sheets, placed, limit, others=found.values())
        found[limit.id] = limit
    return found


def by_measurement(rows: Iterable[Limit]) -> Limits:
    """The rows by what they are about: (species, structure, measure)."""
    found: dict[LimitKey, list[Limit]] = {}
    for row in rows:
        for species in row.species:
            for structure in row.structures:
                found.setdefault((species, structure, row.measure), []).append(row)
    return {key: tuple(kept) for key, kept in found.items()}


def _limit(placed: Placed[LimitRow], chosen: Chosen) -> Limit:
    row = placed.row
    side = "-".join(row.use.split("-")[:2])
    return Limit(
        id=row.limit,
        structures=row.structures,
        measure=row.measure,
        species=row.species,
        words=row.measured,
        unit=row.unit,
        low=row.low,
        high=row.high,
        low_inside=row.low_inside is not False,
        high_inside=row.high_inside is not False,
        band=_band(row),
        flags=frozenset(FLAGS.get(side, "")),
        soft=row.use.endswith("-soft") or (row.use.endswith("-grey") and row.grey is None),
        grey=row.grey,
        says_normal=row.says_normal,
        in_force=_in_force(row, chosen),
        table=row.table,
        places=row.places,
        planes=row.planes,
        sex=row.sex,
        neutered=row.neutered,
        age_min_months=row.age_min_months or None,
        fasted=row.fasted,
        sedated=row.sedated,
        recumbency=row.recumbency,
        fill=row.fill_needed,
        condition=row.condition,
        statistic=row.statistic,
        mean=row.mean,
        median=row.median,
        sd=row.sd,
        formula=row.formula,
        use=row.use,
        source=Source(row.authors, row.year, row.journal, row.title, row.evidence, row.seen_at),
        note=row.note,
    )


def _in_force(row: LimitRow, chosen: Chosen) -> tuple[str, ...]:
    """The species that the row judges: by the choice of its table, else by the default set."""
    if row.table:
        return row.species if row.table in chosen.in_force else ()
    return row.in_default_set


def _band(row: LimitRow) -> Band:
    return Band(
        low=row.weight_min,
        high=row.weight_max,
        low_included=row.min_included is not False,
        high_included=row.max_included is not False,
        ideal=row.ideal_weight,
        words=row.band,
    )


def disagreements(sheets: Sheets) -> tuple[Disagreement, ...]:
    """Where sources disagree."""
    found = []
    for placed in sheets.read("disagreements.csv", DisagreementRow):
        row = placed.row
        limit_faults.named(sheets, placed.line, structures=row.structures, measures=row.measures, species=row.species)
        about = (row.topic, row.species, row.structures, row.measures)
        found.append(Disagreement(*about, row.one, row.other, row.effect, row.advice))
    return tuple(found)


def settings(sheets: Sheets) -> dict[str, int]:
    """The whole numbers that judging hangs on."""
    found = {p.row.setting: int(p.row.value) for p in sheets.read("judging.csv", SettingRow)}
    if "weight-days" not in sheets.known("judging.csv", "setting"):
        sheets.faults.append("judging.csv:0: the setting weight-days is missing")
    return found


def breeds(sheets: Sheets) -> dict[str, tuple[str, ...]]:
    """Names of breeds by species."""
    found: dict[str, tuple[str, ...]] = {"dog": (), "cat": ()}
    for placed in sheets.read("breeds.csv", BreedRow):
        found[placed.row.species] += (placed.row.breed,)
    return found
