"""Rows about the survey: structures, steps, vocabularies, measurements, reasons."""

from typing import ClassVar, Literal

from service.catalogue.cells import (
    Count,
    CountOrNone,
    Grade,
    Name,
    NameOrNone,
    Number,
    Phrases,
    Text,
    Words,
    YesNo,
    YesNoOrEither,
)
from service.catalogue.rows import Row
from service.catalogue.rows_codes import Side

Species = Literal["both", "dog", "cat"]


class StationRow(Row):
    """stations.csv"""

    key: ClassVar[tuple[str, ...]] = ("station",)
    station: Count
    title: Text


class StructureRow(Row):
    """structures.csv; system and code name the body site outside, our own code is always added."""

    key: ClassVar[tuple[str, ...]] = ("structure",)
    structure: Name
    title: Text
    vocabulary: Name
    organ: Name
    system: NameOrNone
    code: str
    display: str
    laterality: Side
    source: Text


class StepRow(Row):
    """protocols/abdomen.csv"""

    key: ClassVar[tuple[str, ...]] = ("step", "species")
    station: Count
    sequence: Count
    step: Name
    structure: Name
    title: Text
    species: Species
    sex: Literal["", "male", "female"]
    neutered: YesNoOrEither
    special: Literal["", "retained-testis", "pregnancy", "uterus", "stump", "ovarian-bed"]
    requirement: Literal[
        "required",
        "required-attempt",
        "if-visible",
        "if-present",
        "if-relevant",
        "only-if-asked",
        "optional",
        "not-applicable",
    ]
    planes: Words
    stills: Count
    clip: Literal["no", "optional", "required", "required-if-present"]
    measures: Words
    may_measure: Words
    windows: Phrases
    operation: str
    settles: Words
    source: Text


class AttributeRow(Row):
    """attributes.csv"""

    key: ClassVar[tuple[str, ...]] = ("vocabulary", "attribute")
    vocabulary: Name
    attribute: Name
    title: Text
    compared_with: str
    asked_when: str
    source: Text


class FindingRow(Row):
    """findings.csv; measures: what must be measured once it is noted ("a|b": one of them)."""

    key: ClassVar[tuple[str, ...]] = ("vocabulary", "attribute", "value")
    vocabulary: Name
    attribute: Name
    value: Name
    display: Text
    default: YesNo
    grade: Grade
    measures: Words
    lesions: CountOrNone


class MeasureRow(Row):
    """measures.csv"""

    key: ClassVar[tuple[str, ...]] = ("measure",)
    measure: Name
    title: Text
    unit: Text
    decimals: Count
    doppler: YesNo
    system: NameOrNone
    code: str
    display: str
    source: Text


class RangeRow(Row):
    """measure-ranges.csv: what is plausible, inclusive, in the unit of the measurement."""

    key: ClassVar[tuple[str, ...]] = ("structure", "measure", "species")
    structure: Name
    measure: Name
    species: Species
    low: Number
    high: Number
    source: Text


class ReasonRow(Row):
    """reasons.csv; no dispositions: a person cannot give it."""

    key: ClassVar[tuple[str, ...]] = ("reason",)
    reason: Name
    display: Text
    group: Name
    needs_detail: YesNo
    counts_as_examined: YesNo
    price_effect: Literal["full", "limited", "none"]
    remaining: YesNo
    dispositions: Words
    suggestion: str
    source: Text
