"""Rows about what measurements are compared with: limits, their tables, where sources disagree, breeds."""

from typing import Annotated, ClassVar, Literal

from pydantic import StringConstraints

from service.catalogue.cells import (
    CountOrNone,
    Name,
    NameOrNone,
    Number,
    NumberOrNone,
    Text,
    Words,
    YesNo,
    YesNoOrEither,
)
from service.catalogue.rows import Row

LimitName = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9.-]*$")]
Use = Literal[
    "flag-high",
    "flag-high-soft",
    "flag-high-strong",
    "flag-high-prompt",
    "flag-high-alternative",
    "flag-low",
    "flag-low-grey",
    "flag-both",
    "flag-both-soft",
    "descriptive",
    "display-only",
    "do-not-use",
    "context",
    "caution",
    "grade",
    "score",
    "guard",
    "denominator-only",
    "vocabulary",
    "subjective",
    "optional",
    "to-fetch",
    "descriptor",
    "expectation",
]


class LimitRow(Row):
    """limits.csv: one published figure. Ends of weights and values are included or not as the source says."""

    key: ClassVar[tuple[str, ...]] = ("limit",)
    limit: LimitName
    structures: Words
    measure: NameOrNone
    measured: Text
    species: Words
    weight_min: NumberOrNone
    weight_max: NumberOrNone
    min_included: YesNoOrEither
    max_included: YesNoOrEither
    ideal_weight: YesNo
    band: str
    sex: Literal["", "male", "female"]
    neutered: YesNoOrEither
    age_min_months: CountOrNone
    fasted: YesNoOrEither
    sedated: YesNoOrEither
    recumbency: NameOrNone
    fill_needed: YesNo
    places: Words
    planes: Words
    condition: str
    statistic: Text
    low: NumberOrNone
    high: NumberOrNone
    low_inside: YesNoOrEither
    high_inside: YesNoOrEither
    grey: NumberOrNone
    mean: NumberOrNone
    median: NumberOrNone
    sd: NumberOrNone
    unit: Text
    formula: str
    authors: str
    year: str
    journal: str
    title: str
    evidence: Literal["SEEN-ABS", "SEEN-HANDBOOK", "SEEN-COMM", "MEM", "NOT-FOUND", "OWN"]
    seen_at: str
    use: Use
    says_normal: YesNo
    in_default_set: Words
    table: str
    note: str


class TableRow(Row):
    """limit-tables.csv: tables of which one is chosen, and the measurement that its choice asks for."""

    key: ClassVar[tuple[str, ...]] = ("table",)
    table: Name
    choice: Name
    title: Text
    species: Literal["dog", "cat"]
    structures: Words
    measure: Name
    source: Text


class ChoiceRow(Row):
    """limit-choices.csv: which table is in force."""

    key: ClassVar[tuple[str, ...]] = ("choice",)
    choice: Name
    table: Name


class PlaceRow(Row):
    """places.csv: where in a structure a measurement can be taken."""

    key: ClassVar[tuple[str, ...]] = ("place",)
    place: Name
    display: Text
    structures: Words
    source: Text


class SettingRow(Row):
    """judging.csv: numbers that judging hangs on beside the limits."""

    key: ClassVar[tuple[str, ...]] = ("setting",)
    setting: Name
    value: Number
    unit: Text
    source: Text


class DisagreementRow(Row):
    """disagreements.csv: where sources say different things, and what is done about it here."""

    key: ClassVar[tuple[str, ...]] = ("topic",)
    topic: Text
    species: Words
    structures: Words
    measures: Words
    one: Text
    other: Text
    effect: str
    advice: Text


class BreedRow(Row):
    """breeds.csv: names of breeds, as text to choose from; any other name is taken too."""

    key: ClassVar[tuple[str, ...]] = ("species", "breed")
    species: Literal["dog", "cat"]
    breed: Text
    source: Text
