"""Rows about what is computed: formulas, the stretches of their results, and where each applies."""

from typing import Annotated, ClassVar, Literal

from pydantic import StringConstraints

from service.catalogue.cells import Name, NameOrNone, Number, NumberOrNone, Text, Words, YesNoOrEither
from service.catalogue.rows import Row
from service.catalogue.rows_survey import Species

FormulaKey = Annotated[str, StringConstraints(pattern=r"^[A-Z][A-Z0-9]*$")]
Tolerance = Annotated[str, StringConstraints(pattern=r"^((0|[1-9]\d*)(\.\d+)?%?)?$")]
Digits = Annotated[str, StringConstraints(pattern=r"^\d?$")]


class FormulaRow(Row):
    """formulas.csv; expression is what is computed, and worked with result an example that it must come to."""

    key: ClassVar[tuple[str, ...]] = ("formula",)
    formula: FormulaKey
    title: Text
    kind: Literal["value", "mean", "check", "trend", "judging"]
    text: Text
    expression: str
    unit: str
    decimals: Digits
    tolerance: Tolerance
    evidence: Literal["A", "H", "M"]
    system: NameOrNone
    code: str
    display: str
    worked: Words
    result: NumberOrNone
    published: str
    source: Text


class BandRow(Row):
    """formula-bands.csv: a stretch from `low` up to the next row's."""

    key: ClassVar[tuple[str, ...]] = ("formula", "low")
    formula: FormulaKey
    low: Number
    band: Name
    display: Text
    source: Text


class ComputationRow(Row):
    """computations.csv: inputs as name=place, each place *.measure or structure.measure, weight, age or a number."""

    key: ClassVar[tuple[str, ...]] = ("formula", "species", "measure", "structures")
    formula: FormulaKey
    species: Species
    structures: Words
    measure: Name
    inputs: Words
    each: Literal["", "waveform", "node"]
    checks: Words
    sex: Literal["", "male", "female"]
    neutered: YesNoOrEither
    source: Text


class ReadingRow(Row):
    """finding-readings.csv: a finding that stands for a value of a measurement."""

    key: ClassVar[tuple[str, ...]] = ("structure", "attribute", "value")
    structure: Name
    attribute: Name
    value: Name
    measure: Name
    reads: Number
    source: Text


class RepeatabilityRow(Row):
    """repeatability.csv: a smaller change may be the measuring alone; without structures for all that have it."""

    key: ClassVar[tuple[str, ...]] = ("measure", "structures", "species")
    measure: Name
    structures: Words
    species: Species
    within: Annotated[str, StringConstraints(pattern=r"^(0|[1-9]\d*)(\.\d+)?%?$")]
    source: Text
