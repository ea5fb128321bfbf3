"""The texts of the mappings into what senders' codes lead to, row by row, as far as the grade lets it be told."""

from collections.abc import Callable, Iterable, Mapping

from service.basics.coding import Coding, Mapped
from service.catalogue.codings import Codes
from service.catalogue.rows_codes import OrganRow, PlaneRow, PropertyRow, SiteRow, WordRow
from service.catalogue.rows_trade import OrderCodeRow
from service.catalogue.sheets import Placed, Sheets

PUBLISHED = frozenset({"A", "B"})
"""Grades of the rows that may be handed on: checked in DICOM or R4, or in a project's value set."""

_Row = SiteRow | PropertyRow | WordRow | PlaneRow | OrderCodeRow | OrganRow


def sent(files: Mapping[str, str]) -> dict[str, tuple[Mapped, ...]]:
    """Name of the mapping ("sites") -> its rows in their order. files: those of a catalogue without faults."""
    sheets = Sheets(files)
    codes = Codes(sheets)
    sites = _graded(sheets.read("sites.csv", SiteRow))
    checked = {(p.row.system, p.row.code) for p in sites}  # organs.csv has no grade of its own
    organs = [p for p in sheets.read("organs.csv", OrganRow) if (p.row.system, p.row.code) in checked]
    return {
        "sites": _mapped(codes, sites, lambda row: ("structure", [row.structure] if row.structure else [])),
        "organs": _mapped(codes, organs, lambda row: ("structure", row.structures)),
        "properties": _properties(codes, _graded(sheets.read("properties.csv", PropertyRow))),
        "words": _mapped(
            codes,
            _graded(sheets.read("words.csv", WordRow)),
            lambda row: ("finding", [f"{row.vocabulary}.{row.attribute}.{row.value}"]),
        ),
        "planes": _mapped(codes, _graded(sheets.read("planes.csv", PlaneRow)), lambda row: ("plane", [row.plane])),
        "order-codes": _mapped(
            codes, _graded(sheets.read("order-codes.csv", OrderCodeRow)), lambda row: ("service", [row.service])
        ),
    }


def _graded(rows: Iterable[Placed]) -> list[Placed]:  # type: ignore[type-arg]
    return [p for p in rows if p.row.grade in PUBLISHED]


def _mapped(
    codes: Codes,
    rows: Iterable[Placed],  # type: ignore[type-arg]
    leads_to: Callable[..., tuple[str, Iterable[str]]],
) -> tuple[Mapped, ...]:
    found = []
    for placed in rows:
        system, targets = leads_to(placed.row)
        source = Coding(codes.systems[placed.row.system], placed.row.code, placed.row.display)
        found.append(
            Mapped(source, tuple(codes.own(system, t) for t in targets), getattr(placed.row, "laterality", ""))
        )
    return tuple(found)


def _properties(codes: Codes, rows: Iterable[Placed]) -> tuple[Mapped, ...]:  # type: ignore[type-arg]
    """A row may lead to codes of several systems: "measure:length", "attribute:echogenicity", "note:weight"."""
    found = []
    for placed in rows:
        row = placed.row
        parts = [target.partition(":") for target in row.leads_to]
        targets = tuple(codes.own(system, code) for system, _, code in parts)
        found.append(Mapped(Coding(codes.systems[row.system], row.code, row.display), targets))
    return tuple(found)
