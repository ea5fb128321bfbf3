"""The codings of a body site into the one structure they name."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from service.basics.coding import Coding
from service.exam.rules import Structure

Key = tuple[str, str]
NOTHING = Coding("", "")


class Sites(Protocol):
    """The rows that lead from a sender's body sites to ours."""

    @property
    def sites(self) -> Mapping[tuple[str, str, str], str]: ...
    @property
    def lateralities(self) -> Mapping[Key, str]: ...
    @property
    def organs(self) -> Mapping[tuple[str, str, str], tuple[str, ...]]: ...
    @property
    def structures(self) -> Mapping[str, Structure]: ...


@dataclass(frozen=True, slots=True)
class Place:
    """structure is "" when no single one is named; then problem says why and candidates which ones it may be."""

    structure: str = ""
    problem: str = ""  # site, site-ambiguous
    coding: Coding = NOTHING
    candidates: tuple[str, ...] = ()


def place(codings: Sequence[Coding], rows: Sites) -> Place:
    """The structure that the codings name together; codings that contradict each other name none."""
    sides = {rows.lateralities[k] for c in codings if (k := (c.system, c.code)) in rows.lateralities}
    organs = [c for c in codings if (c.system, c.code) not in rows.lateralities]
    side = sides.pop() if len(sides) == 1 else ""
    if sides:
        return _ambiguous(organs, rows, side="")
    found = {s for c in organs if (s := _structure(c, rows, side=side)) is not None}
    certain = found - {""}
    if len(certain) == 1:
        structure = certain.pop()
        if not _contradicts(rows.structures.get(structure), side, rows):
            return Place(structure)
        return Place("", "site-ambiguous", organs[0], (structure,))
    if found:
        return _ambiguous(organs, rows, side=side)
    return Place("", "site", organs[0] if organs else Coding("", ""))


def _structure(coding: Coding, rows: Sites, *, side: str) -> str | None:
    """The structure of one coding, "" when it is ambiguous, None when no row knows it."""
    for wanted in (side, "") if side else ("",):
        row = rows.sites.get((coding.system, coding.code, wanted))
        if row is not None:
            return row
    own = rows.structures.get(coding.code)
    if own is not None and own.site and (own.site[-1].system, own.site[-1].code) == (coding.system, coding.code):
        return own.key
    return None


def _contradicts(structure: Structure | None, side: str, rows: Sites) -> bool:
    """Whether a side was said that is not the structure's ("left kidney", right)."""
    if structure is None or structure.laterality is None or not side:
        return False
    own = rows.lateralities.get((structure.laterality.system, structure.laterality.code), "")
    return bool(own) and own != side


def _ambiguous(organs: Sequence[Coding], rows: Sites, *, side: str) -> Place:
    named = [rows.organs.get((c.system, c.code, side)) or rows.organs.get((c.system, c.code, "")) or () for c in organs]
    sure = [s for c in organs if (s := _structure(c, rows, side=side))]
    bearing = [k for k, v in rows.structures.items() for c in organs if _bears(v, c)]
    candidates = dict.fromkeys([*sure, *bearing, *(s for group in named for s in group)])
    return Place("", "site-ambiguous", organs[0] if organs else Coding("", ""), tuple(candidates))


def _bears(structure: Structure, coding: Coding) -> bool:
    return any((c.system, c.code) == (coding.system, coding.code) for c in structure.site)
