"""Rows about words that stand for measurements, and about what to think of."""

from typing import ClassVar

from service.catalogue.cells import Name, NameOrNone, NumberOrNone, Text
from service.catalogue.rows import Row
from service.catalogue.rows_survey import Species


class BandRow(Row):
    """bands.csv: the readings of a measurement that a word goes with, in the unit of the measurement."""

    key: ClassVar[tuple[str, ...]] = ("vocabulary", "attribute", "value", "measure", "species")
    vocabulary: Name
    attribute: Name
    value: Name
    measure: Name
    species: Species
    above: NumberOrNone
    at_least: NumberOrNone
    at_most: NumberOrNone
    below: NumberOrNone
    source: Text


class PromptRow(Row):
    """prompts.csv: what to think of when a finding, or "disposition", has one of these values; of every vocabulary
    when none is named."""

    key: ClassVar[tuple[str, ...]] = ("prompt",)
    prompt: Name
    vocabulary: NameOrNone
    when: Text
    unless: str
    text: Text
    source: Text
