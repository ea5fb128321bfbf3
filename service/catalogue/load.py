"""Turns the texts of mappings/ into the frozen catalogue, and a stored hash back into the catalogue it names."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

from service.basics.errors import Fault, Missing
from service.catalogue import (
    advice,
    anatomy,
    codings,
    computations,
    formulas,
    limit_tables,
    limits,
    measurements,
    prices,
    repeatability,
    report_words,
    senders,
    survey,
    trade,
    urgent,
    vocabulary,
)
from service.catalogue.catalogue import Catalogue
from service.catalogue.faults import CatalogueFaults, in_order
from service.catalogue.files import fingerprint, unpack
from service.catalogue.overlay import Merged
from service.catalogue.sheets import Sheets
from service.catalogue.tariff import OwnPrices
from service.exam.rules import MeasureRule, Structure

KEPT = 8  # catalogues of practices with rows of their own, in memory


def load(files: Mapping[str, str]) -> Catalogue:
    """The catalogue of these texts (relative path -> text). Raises CatalogueFaults with all faults at once."""
    sheets = Sheets(files)
    found = urgent.with_urgent(_catalogue(sheets, files), sheets)
    sheets.faults.extend(f"{name}:0: is no file of the catalogue" for name in sheets.unread())
    if sheets.faults:
        raise CatalogueFaults(in_order(sheets.faults))
    return found


def _catalogue(sheets: Sheets, files: Mapping[str, str]) -> Catalogue:
    codes = codings.Codes(sheets)
    species = codings.species(sheets, codes)
    lateralities, sides = codings.lateralities(sheets, codes)
    planes, plane_codings = codings.planes(sheets, codes)
    units = codings.units(sheets)
    structures = anatomy.structures(sheets, codes, sides=sides)
    measures = measurements.measures(sheets, codes, units=units)
    vocabularies = vocabulary.vocabularies(sheets, structures=structures, measures=measures)
    tables = limit_tables.chosen(sheets)
    services, orders = trade.services(sheets, codes)
    return Catalogue(
        hash=fingerprint(files),
        files=dict(files),
        systems=codes.systems,
        species=species,
        structures=structures,
        protocols=limit_tables.asked(survey.protocols(sheets, measures=measures), tables.tables),
        vocabularies=vocabularies,
        measures=measures,
        reasons=survey.reasons(sheets),
        services=services,
        orders=orders,
        organs=anatomy.organs(sheets, codes, structures=structures),
        operations=anatomy.operations(sheets, codes),
        sites=senders.sites(sheets, codes, structures=structures, sides=lateralities),
        lateralities=lateralities,
        properties=senders.properties(sheets, codes, measures=measures, vocabularies=vocabularies),
        words=senders.words(sheets, codes, vocabularies=vocabularies),
        planes=planes,
        plane_codings=plane_codings,
        units=units,
        unique_identifiers=codings.unique_identifiers(sheets),
        **_telling(sheets, codes, structures=structures, vocabularies=vocabularies),
        finding_readings=computations.readings(sheets, structures, vocabularies=vocabularies, measures=measures),
        **_computing(sheets, codes, measures=measures, units=units),
        **prices.money(sheets),
        **_judging(sheets, measures, tables=tables),
    )


def _telling(
    sheets: Sheets, codes: codings.Codes, *, structures: dict[str, Structure], vocabularies: vocabulary.Vocabularies
) -> dict[str, Any]:
    """What a report says beside what was found, and what a finding makes one think of."""
    return {
        "cautions": trade.cautions(sheets),
        "sections": trade.sections(sheets),
        "prompts": advice.prompts(sheets, vocabularies=vocabularies),
        "translations": advice.translations(sheets, codes),
        **report_words.spoken(sheets, structures, vocabularies=vocabularies),
    }


def _computing(
    sheets: Sheets,
    codes: codings.Codes,
    *,
    measures: Mapping[measurements.MeasureKey, MeasureRule],
    units: Mapping[tuple[str, str], Decimal],
) -> dict[str, Any]:
    known = formulas.formulas(sheets, codes)
    rows = computations.computations(sheets, formulas=known, measures=measures, units=units)
    return {
        "formulas": known,
        "computations": rows,
        "repeatability": repeatability.repeatability(sheets, measures),
    }


def _judging(
    sheets: Sheets, measures: dict[measurements.MeasureKey, MeasureRule], *, tables: limit_tables.Chosen
) -> dict[str, Any]:
    """What measurements are compared with."""
    rows = limits.limits(sheets, measures=measures, chosen=tables)
    return {
        "limits": limits.by_measurement(rows.values()),
        "limit_rows": rows,
        "tables": tables.tables,
        "places": tables.places,
        "disagreements": limits.disagreements(sheets),
        "judging": limits.settings(sheets),
        "breeds": limits.breeds(sheets),
    }


def overlaid(files: Mapping[str, str], overlay: Mapping[str, str]) -> Catalogue:
    """The catalogue of the files with an overlay's rows in them. Raises CatalogueFaults, by the overlay's own lines."""
    merged = Merged(files, overlay)
    try:
        found = load(merged.files)
    except CatalogueFaults as wrong:
        raise CatalogueFaults([*merged.faults, *map(merged.said, wrong.faults)]) from None
    if merged.faults:
        raise CatalogueFaults(merged.faults)
    return found


class Catalogues:
    """The catalogue in force, and those that older exams were opened with.

    `fetch` gives the stored text of a hash or None."""

    def __init__(self, current: Catalogue, fetch: Callable[[str], str | None]) -> None:
        self.current = current
        self._fetch = fetch
        self._old: dict[str, Catalogue] = {}
        self._over: dict[str, Catalogue] = {}
        self._own_prices = OwnPrices(load)

    def over(self, overlay: str, tariff: str = "") -> Catalogue:
        """The catalogue in force with a practice's own rows over it (packed files) and prices (a file), "" for none.

        Raises CatalogueFaults with all that is wrong with them together."""
        return self._own_prices.over(self._overlaid(overlay) if overlay else self.current, tariff)

    def _overlaid(self, overlay: str) -> Catalogue:
        if overlay not in self._over:
            found = overlaid(self.current.files, unpack(overlay))
            self._over = dict([*self._over.items()][1 - KEPT :]) | {overlay: found}
        return self._over[overlay]

    def of(self, hash_: str) -> Catalogue:
        """The catalogue of this hash; what senders call things is always today's. Raises Missing when not stored."""
        if hash_ == self.current.hash:
            return self.current
        own = next((c for c in self._over.values() if c.hash == hash_), None)
        if own is not None:
            return own
        if hash_ not in self._old:
            self._old[hash_] = self._stored(hash_)
        return self._old[hash_]

    def _stored(self, hash_: str) -> Catalogue:
        text = self._fetch(hash_)
        if text is None:
            raise Missing(Fault("not-found", f"The catalogue {hash_} that this exam was opened with is not stored."))
        old, now = load(unpack(text)), self.current
        return replace(
            old,
            sites={**old.sites, **now.sites},
            properties={**old.properties, **now.properties},
            words={**old.words, **now.words},
            planes={**old.planes, **now.planes},
        )
