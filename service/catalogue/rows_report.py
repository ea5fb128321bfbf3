"""Rows of the words a report is made of."""

from typing import ClassVar

from service.catalogue.cells import Name, Text, Words
from service.catalogue.rows import Row


class ClauseRow(Row):
    """report-clauses.csv: a value of a finding as a clause; without vocabularies it holds for all that have no own."""

    key: ClassVar[tuple[str, ...]] = ("attribute", "value", "vocabularies")
    attribute: Name
    value: Name
    vocabularies: Words
    clause: Text


class PhraseRow(Row):
    """report-phrases.csv: a sentence of the report by its key, with the places that it fills in braces."""

    key: ClassVar[tuple[str, ...]] = ("phrase",)
    phrase: Name
    text: Text
    said_when: Text


class PluralRow(Row):
    """report-plurals.csv: structures that are spoken of as several."""

    key: ClassVar[tuple[str, ...]] = ("structure",)
    structure: Name
