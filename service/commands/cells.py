"""Texts into cells of a CSV file that no spreadsheet takes for a formula."""

import csv
from collections.abc import Iterable, Sequence
from typing import Any, TextIO

_DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def safe(text: str) -> str:
    """The text, with an apostrophe before it where a spreadsheet would run it."""
    return f"'{text}" if text.lstrip(" \u00a0").startswith(_DANGEROUS) else text


def writer(out: TextIO, columns: Iterable[str]) -> "Sheet":
    """A sheet with its head written."""
    return Sheet(out, list(columns))


class Sheet:
    """Rows as lines of RFC 4180; numbers are written as they are, texts made safe."""

    def __init__(self, out: TextIO, columns: Sequence[str]) -> None:
        self._columns, self._rows = columns, csv.writer(out)
        self._rows.writerow(columns)

    def row(self, cells: dict[str, Any]) -> None:
        """One row by column; what is not named stays empty, and a column that is not there is a mistake."""
        if unknown := cells.keys() - set(self._columns):
            raise ValueError(f"no column {', '.join(sorted(unknown))}")
        self._rows.writerow([_cell(cells.get(name, "")) for name in self._columns])


def _cell(value: Any) -> str:
    return safe(value) if isinstance(value, str) else format(value, "f") if hasattr(value, "scaleb") else str(value)
