"""One measurement against the one limit that holds for this animal: high, low, normal, or why it is not judged."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Protocol

from service.exam import applying
from service.exam.circumstances import Circumstances
from service.exam.formulas import Formula
from service.exam.limits import Limit, Limits
from service.exam.rules import MeasureRule

MEMORY = "M"  # evidence of a formula that nobody has looked up


class Judging(Protocol):
    """The rows that judge; service.catalogue's Catalogue honours it."""

    @property
    def limits(self) -> Limits: ...
    @property
    def measures(self) -> Mapping[tuple[str, str, str], MeasureRule]: ...
    @property
    def units(self) -> Mapping[tuple[str, str], Decimal]: ...
    @property
    def formulas(self) -> Mapping[str, Formula]: ...


@dataclass(frozen=True, slots=True)
class Verdict:
    """flag: H above, L below, N inside, "" not judged: then `reason` says why. soft: sources disagree, or a grey zone.

    limit: the one that was chosen; it is there without a flag when it only tells what is clearly too much."""

    flag: str = ""
    limit: Limit | None = None
    soft: bool = False
    reason: str = ""


def judge(
    structure: str,
    measure: str,
    quantity: Decimal | None,
    unit: str,
    *,
    circumstances: Circumstances,
    rules: Judging,
    plane: str = "",
    site: str = "",
    formula: str = "",
) -> Verdict:
    """The verdict on an unrounded quantity in a UCUM unit. plane: long, short, multi; site: a place in the structure;
    formula: the one by which it was computed here; from memory it drives no flag.

    Never raises: what is missing or does not fit is said in `reason`."""
    if formula and formula in rules.formulas and rules.formulas[formula].evidence == MEMORY:
        return Verdict(reason="It is computed by a formula from memory, so it is shown only.")
    if circumstances.species not in {"dog", "cat"}:
        return Verdict(reason="The species is not known.")
    rows = rules.limits.get((circumstances.species, structure, measure), ())
    judging = [row for row in rows if row.flags and circumstances.species in row.in_force]
    if not judging:
        return Verdict(reason=applying.none_in_force(circumstances.species, rows))
    if quantity is None:
        return Verdict(reason="There is no value.")
    chosen, reason = applying.choose(judging, circumstances, plane=plane, site=site)
    if chosen is None:
        return Verdict(reason=reason)
    factor = Decimal(1) if unit == chosen.unit else rules.units.get((chosen.unit, unit))
    if factor is None:
        said = f"in {unit}" if unit else "without a unit"
        return Verdict(reason=f"The value {said} cannot be compared with a limit in {chosen.unit}.")
    return _compared(Fraction(quantity) * Fraction(factor), chosen)


def _compared(value: Fraction, limit: Limit) -> Verdict:
    """The end of the limit that the exact value lies beyond, among the sides that the row may flag."""
    low, high, grey = (None if end is None else Fraction(end) for end in (limit.low, limit.high, limit.grey))
    if "H" in limit.flags and high is not None and (value > high or (value == high and not limit.high_inside)):
        return Verdict("H", limit, limit.soft or (grey is not None and value <= grey))
    if "L" in limit.flags and low is not None and (value < low or (value == low and not limit.low_inside)):
        return Verdict("L", limit, limit.soft or (grey is not None and value > grey))
    if limit.says_normal:
        return Verdict("N", limit, limit.soft)
    return Verdict("", limit, limit.soft, applying.not_beyond(limit))
