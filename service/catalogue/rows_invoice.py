"""Rows of the words a printed invoice is made of."""

from typing import Annotated, ClassVar

from pydantic import StringConstraints

from service.catalogue.cells import Text
from service.catalogue.rows import Row

Language = Annotated[str, StringConstraints(pattern=r"^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$")]


class InvoiceWordRow(Row):
    """invoice-words.csv: a phrase of the printed invoice in one language, with the places that it fills in braces."""

    key: ClassVar[tuple[str, ...]] = ("language", "phrase")
    language: Language
    phrase: Text
    text: Text
    source: Text
