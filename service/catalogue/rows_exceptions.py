"""Rows about what a bookkeeper must look at."""

from typing import ClassVar

from service.catalogue.cells import Count, Name, Text
from service.catalogue.rows import Row


class ExceptionRow(Row):
    """billing-exceptions.csv; minutes: after how long it is one, 0 at once."""

    key: ClassVar[tuple[str, ...]] = ("exception",)
    exception: Name
    title: Text
    advice: Text
    minutes: Count
    source: Text
