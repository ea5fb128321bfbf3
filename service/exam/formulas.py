"""Formulas and where they apply, as rows of mappings/ give them, and exact results as decimals."""

from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Context, Decimal
from fractions import Fraction

from service.basics.coding import Coding
from service.exam.expression import Expression

OWN = "*"  # the structure that the result belongs to
WEIGHT, AGE = "weight", "age"  # what an animal has: kg, years
_DIGITS = Context(prec=28)


@dataclass(frozen=True, slots=True)
class Band:
    """A named stretch of a result: from `low`, itself included, up to the next one."""

    low: Decimal
    code: str
    display: str


@dataclass(frozen=True, slots=True)
class Formula:
    """One formula of mappings/formulas.csv. kind: value, mean, check, trend or judging; a value has an expression.

    tolerance: how far a result that was sent may lie from what its own inputs give, in the result's unit, or in per
    cent of it. evidence M: from memory, so it drives no flag."""

    key: str
    title: str
    kind: str
    text: str  # the formula as people read it
    unit: str
    decimals: int
    expression: Expression | None = None
    tolerance: Decimal | None = None
    per_cent: bool = False
    evidence: str = ""
    source: str = ""
    bands: tuple[Band, ...] = ()
    codes: tuple[Coding, ...] = ()  # of the method outside

    def within(self, sent: Fraction, computed: Fraction) -> bool:
        """Whether a result that was sent agrees with the computed one."""
        if self.tolerance is None:
            return sent == computed
        allowed = Fraction(self.tolerance) * (abs(computed) / 100 if self.per_cent else 1)
        return abs(sent - computed) <= allowed

    def band(self, value: Decimal) -> Band | None:
        """The stretch that a result lies in."""
        return next((b for b in reversed(self.bands) if value >= b.low), None)


@dataclass(frozen=True, slots=True)
class Input:
    """One input by its name in the formula: the first of `places` that was measured, what the animal has, or a number.

    unit: in which the formula wants it. pick: "" as repeats are taken, max or min of several readings."""

    name: str
    places: tuple[tuple[str, str], ...] = ()  # (structure or OWN, measure)
    animal: str = ""
    number: Fraction | None = None
    factor: Fraction = field(default=Fraction(1))  # of the formula's unit in the measure's own
    pick: str = ""


@dataclass(frozen=True, slots=True)
class Computation:
    """One formula for one structure of one species, and the measure it comes to.

    each: "" once for the structure, "waveform" for each beat, "node" for each of several nodes that were measured.
    checks: the measures whose values, when sent, say the same thing. factor: of the formula's unit in the measure's."""

    formula: Formula
    species: str
    structure: str
    measure: str
    inputs: tuple[Input, ...]
    each: str = ""
    checks: tuple[str, ...] = ()
    sex: str = ""
    neutered: bool | None = None
    factor: Fraction = field(default=Fraction(1))

    @property
    def needs(self) -> tuple[tuple[str, str], ...]:
        """The (structure, measure) of all that can go into it."""
        pairs = (pair for one in self.inputs for pair in one.places)
        return tuple((self.structure if s == OWN else s, m) for s, m in pairs)


def decimal(value: Fraction) -> Decimal:
    """The value with all its digits, or 28 of them."""
    return _DIGITS.divide(Decimal(value.numerator), Decimal(value.denominator))


def rounded(value: Decimal, decimals: int) -> Decimal:
    """The value as it is shown: half up."""
    return value.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP, context=Context(prec=60))
