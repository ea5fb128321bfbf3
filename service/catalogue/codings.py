"""Turns rows about codes into maps from a code to what it means here."""

from collections.abc import Sequence
from decimal import Decimal

from service.basics.coding import Coding
from service.catalogue.catalogue import Key
from service.catalogue.check_digits import well_formed
from service.catalogue.rows_codes import (
    IdentifierRow,
    LateralityRow,
    PlaneRow,
    SpeciesRow,
    SystemRow,
    UnitRow,
)
from service.catalogue.sheets import Line, Placed, Sheets

OWN_SYSTEMS = ("structure", "measure", "attribute", "finding", "note", "plane", "service", "surgery")


class Codes:
    """The code systems by their short names, and how a cell becomes a code."""

    def __init__(self, sheets: Sheets) -> None:
        rows = sheets.read("systems.csv", SystemRow)
        self._sheets = sheets
        self.systems = {p.row.name: p.row.uri for p in rows}
        for name in OWN_SYSTEMS:
            if name not in sheets.known("systems.csv", "name"):
                sheets.faults.append(f"systems.csv:0: the system {name} is missing")

    def own(self, system: str, code: str, display: str = "") -> Coding:
        """A code of one of our own systems."""
        return Coding(self.systems.get(system, ""), code, display)

    def coding(self, line: Line, system: str, code: str, display: str = "") -> Coding:
        """The code of a line; an unknown system or a wrong check digit becomes a fault."""
        if system not in self._sheets.known("systems.csv", "name"):
            self._sheets.fault(line, f'system "{system}" is not in systems.csv')
        uri = self.systems.get(system, "")
        if not well_formed(system, code):
            self._sheets.fault(line, f'code "{code}" has a wrong check digit: a slip in typing?')
        return Coding(uri, code, display)

    def key(self, line: Line, system: str, code: str) -> Key:
        """As `coding`, as a key."""
        found = self.coding(line, system, code)
        return found.system, found.code

    def optional(self, line: Line, system: str, code: str, display: str) -> tuple[Coding, ...]:
        """The outside code of a line that may have none: all three cells or none."""
        if not (system or code or display):
            return ()
        if not (system and code and display):
            self._sheets.fault(line, "system, code and display stand together or not at all")
        return (self.coding(line, system, code, display),)


def species(sheets: Sheets, codes: Codes) -> dict[Key, str]:
    """Species codes; each species needs one."""
    rows = sheets.read("species.csv", SpeciesRow)
    for name in ("dog", "cat"):
        if name not in sheets.known("species.csv", "species"):
            sheets.faults.append(f"species.csv:0: the species {name} has no code")
    return {codes.key(p.line, p.row.system, p.row.code): p.row.species for p in rows}


def lateralities(sheets: Sheets, codes: Codes) -> tuple[dict[Key, str], dict[str, Coding]]:
    """Codes to sides, and the coding that is sent for each side."""
    rows = sheets.read("lateralities.csv", LateralityRow)
    sent = _preferred(sheets, codes, [(p.row.laterality, p) for p in rows], "lateralities.csv")
    return {codes.key(p.line, p.row.system, p.row.code): p.row.laterality for p in rows}, sent


def planes(sheets: Sheets, codes: Codes) -> tuple[dict[Key, str], dict[str, tuple[str, str, str]]]:
    """Codes to planes, our own among them, and the coding that is sent for each plane."""
    rows = sheets.read("planes.csv", PlaneRow)
    sent = _preferred(sheets, codes, [(p.row.plane, p) for p in rows], "planes.csv")
    found = {codes.key(p.line, p.row.system, p.row.code): str(p.row.plane) for p in rows}
    found |= {(codes.systems.get("plane", ""), name): name for name in sent}
    return found, {name: (c.system, c.code, c.display) for name, c in sent.items()}


def units(sheets: Sheets) -> dict[tuple[str, str], Decimal]:
    """(unit, unit sent) to the factor that turns the sent value into the unit."""
    return {(p.row.unit, p.row.sent_as): p.row.factor for p in sheets.read("units.csv", UnitRow)}


def unique_identifiers(sheets: Sheets) -> frozenset[Key]:
    """(resource type, kind) of the identifiers that belong to one resource only."""
    rows = sheets.read("identifiers.csv", IdentifierRow)
    return frozenset((p.row.resource, p.row.type) for p in rows if p.row.unique)


def _preferred(
    sheets: Sheets, codes: Codes, rows: Sequence[tuple[str, Placed[PlaneRow] | Placed[LateralityRow]]], file: str
) -> dict[str, Coding]:
    sent: dict[str, Coding] = {}
    for name, placed in rows:
        row = placed.row
        if row.preferred and name in sent:
            sheets.fault(placed.line, f"{name} has a preferred code already")
        if row.preferred:
            sent.setdefault(name, codes.coding(placed.line, row.system, row.code, row.display))
    for name, placed in rows:
        if name not in sent:
            sheets.fault(placed.line, f"{name} has no preferred code")
    return sent
