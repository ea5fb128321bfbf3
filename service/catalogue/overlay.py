"""A practice's own rows laid over the shipped files: one catalogue out of both, and what that changes."""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping

from service.catalogue.rows import Row
from service.catalogue.rows_computations import RepeatabilityRow
from service.catalogue.rows_invoice import InvoiceWordRow
from service.catalogue.rows_limits import ChoiceRow, DisagreementRow, LimitRow, PlaceRow, SettingRow, TableRow
from service.catalogue.rows_report import ClauseRow, PhraseRow
from service.catalogue.rows_survey import RangeRow
from service.catalogue.rows_urgent import TierRow, UrgentRow

Files = Mapping[str, str]
Cells = dict[str, str]
Key = tuple[str, ...]

# what a practice may have an opinion of its own about; codes, prices and the survey itself are everybody's
OPEN: Mapping[str, type[Row]] = {
    "disagreements.csv": DisagreementRow,
    "invoice-words.csv": InvoiceWordRow,
    "judging.csv": SettingRow,
    "limit-choices.csv": ChoiceRow,
    "limit-tables.csv": TableRow,
    "limits.csv": LimitRow,
    "measure-ranges.csv": RangeRow,
    "places.csv": PlaceRow,
    "repeatability.csv": RepeatabilityRow,
    "report-clauses.csv": ClauseRow,
    "report-phrases.csv": PhraseRow,
    "urgent-findings.csv": UrgentRow,
    "urgent-tiers.csv": TierRow,
}
_PLACE = re.compile(r"([^:]+):(\d+): (.*)", re.DOTALL)


class Merged:
    """The files with the overlay in them, and which of their lines came from which line of the overlay."""

    def __init__(self, files: Files, overlay: Files) -> None:
        self.files = dict(files)
        self.faults = [f"{name}:0: {_closed(name)}" for name in sorted(set(overlay) - set(OPEN))]
        self._origin: dict[tuple[str, int], int] = {}
        for name in sorted(set(overlay) & set(OPEN)):
            self._merge(name, overlay[name])

    def _merge(self, name: str, text: str) -> None:
        columns, known = _read(self.files[name])
        given, own = _read(text)
        if given != columns or not all(len(cells) == len(columns) for cells in own):
            self.faults.append(f"{name}:1: the columns must be {','.join(columns)}, in every row")
            return
        key = _key_of(name, columns)
        places = {key(cells): index for index, cells in enumerate(known)}
        for line, cells in enumerate(own, 2):
            index = places.setdefault(key(cells), len(known))
            known[index : index + 1] = [cells]
            self._origin[name, index + 2] = line
        self.files[name] = _written(columns, known)

    def said(self, fault: str) -> str:
        """A fault of the merged files by its place in the overlay, where it is there."""
        found = _PLACE.fullmatch(fault)
        if found is None:
            return fault
        line = self._origin.get((found[1], int(found[2])))
        return f"{found[1]}:{line}: {found[3]}" if line is not None else f"with these rows, {fault}"


def _closed(name: str) -> str:
    return f"is not for a practice to change; that can be {', '.join(sorted(OPEN))}"


def difference(before: Files, after: Files) -> list[str]:
    """What changed between the files of two catalogues, a line for each cell, row by row."""
    return [line for name in sorted(OPEN) for line in _changes(name, before[name], after[name])]


def _changes(name: str, before: str, after: str) -> Iterator[str]:
    if before == after:
        return
    old, new = _by_key(name, before), _by_key(name, after)
    for key in [*old, *(k for k in new if k not in old)]:
        row = f"{name} {' '.join(key)}"
        if key not in new:
            yield f"{row}: gone"
        elif key not in old:
            told = ", ".join(f"{column} {cell}" for column, cell in new[key].items() if cell and cell not in key)
            yield f"{row}: new, {told}"
        else:
            yield from _cells(row, old[key], new[key])


def _cells(row: str, old: Cells, new: Cells) -> Iterable[str]:
    for column, cell in new.items():
        if old[column] != cell:
            yield f'{row}: {column} "{old[column]}" -> "{cell}"'


def _by_key(name: str, text: str) -> dict[Key, Cells]:
    columns, rows = _read(text)
    key = _key_of(name, columns)
    return {key(cells): dict(zip(columns, cells, strict=True)) for cells in rows}


class _KeyOf:
    """The cells by which a row is known."""

    def __init__(self, places: list[int]) -> None:
        self.places = places

    def __call__(self, cells: list[str]) -> Key:
        return tuple(cells[place] for place in self.places)


def _key_of(name: str, columns: list[str]) -> _KeyOf:
    return _KeyOf([columns.index(column) for column in OPEN[name].key])


def _read(text: str) -> tuple[list[str], list[list[str]]]:
    rows = list(csv.reader(io.StringIO(text)))
    return (rows[0], rows[1:]) if rows else ([], [])


def _written(columns: list[str], rows: list[list[str]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([columns, *rows])
    return out.getvalue()
