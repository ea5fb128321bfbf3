"""Turns rows about structures into structures and the organs by which an order can name them."""

from service.basics.coding import Coding
from service.catalogue.codings import Codes
from service.catalogue.rows_codes import OperationRow, OrganRow
from service.catalogue.rows_survey import StructureRow
from service.catalogue.sheets import Placed, Sheets
from service.exam.rules import Operation, Structure

OrganKey = tuple[str, str, str]


def structures(sheets: Sheets, codes: Codes, *, sides: dict[str, Coding]) -> dict[str, Structure]:
    """Structures by key, each with its outside body site (if any) and our own code last."""
    found: dict[str, Structure] = {}
    for placed in sheets.read("structures.csv", StructureRow):
        row = placed.row
        outside = codes.optional(placed.line, row.system, row.code, row.display)
        found[row.structure] = Structure(
            row.structure,
            row.title,
            row.vocabulary,
            (*outside, codes.own("structure", row.structure, row.title)),
            sides.get(row.laterality),
            row.organ,
        )
    return found


def organs(sheets: Sheets, codes: Codes, *, structures: dict[str, Structure]) -> dict[OrganKey, tuple[str, ...]]:
    """What an order can name -> structures: our own structure and organ names, and the codes of organs.csv.

    A name that is both an organ and a structure means the whole organ."""
    own = codes.systems.get("structure", "")
    named = {key: (key,) for key in structures} | _groups(structures)
    found: dict[OrganKey, tuple[str, ...]] = {(own, name, ""): keys for name, keys in named.items()}
    for placed in sheets.read("organs.csv", OrganRow):
        row = placed.row
        system, code = codes.key(placed.line, row.system, row.code)
        found[system, code, row.laterality] = _named(placed, sheets, named)
    return found


def _groups(structures: dict[str, Structure]) -> dict[str, tuple[str, ...]]:
    names = dict.fromkeys(s.group for s in structures.values())
    return {name: tuple(s.key for s in structures.values() if s.group == name) for name in names}


def _named(placed: Placed[OrganRow], sheets: Sheets, named: dict[str, tuple[str, ...]]) -> tuple[str, ...]:
    if not placed.row.structures:
        sheets.fault(placed.line, "names no structure")
    known = named.keys() | sheets.known("structures.csv", "structure") | sheets.known("structures.csv", "organ")
    for name in placed.row.structures:
        if name not in known:
            sheets.fault(placed.line, f'structure or organ "{name}" is not in structures.csv')
    return tuple(dict.fromkeys(key for name in placed.row.structures for key in named.get(name, ())))


def operations(sheets: Sheets, codes: Codes) -> dict[OrganKey, Operation]:
    """(system, code, side) of an operation -> the structures that it takes away."""
    found: dict[OrganKey, Operation] = {}
    for placed in sheets.read("operations.csv", OperationRow):
        row = placed.row
        for name in row.structures:
            if name not in sheets.known("structures.csv", "structure"):
                sheets.fault(placed.line, f'structure "{name}" is not in structures.csv')
        system, code = codes.key(placed.line, row.system, row.code)
        found[system, code, row.laterality] = Operation(row.operation, row.display, row.structures)
    return found
