"""Rows about words that stand for measurements, and about what to think of."""

from typing import Annotated, ClassVar

from pydantic import StringConstraints

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


class TranslationRow(Row):
    """translations.csv: what a code of ours is called in another language; the code never changes."""

    key: ClassVar[tuple[str, ...]] = ("system", "code", "language")
    system: Name
    code: Text
    language: Annotated[str, StringConstraints(pattern=r"^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$")]
    text: Text
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
