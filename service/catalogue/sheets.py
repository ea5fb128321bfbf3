"""Turns the texts of the mappings into checked rows that know their file and line, collecting every fault."""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Generic, TypeVar

from pydantic import ValidationError

from service.catalogue.rows import Row

R = TypeVar("R", bound=Row)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a file: where it is and its cells by column."""

    file: str
    number: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Placed(Generic[R]):
    """A checked row and the line it stands on."""

    row: R
    line: Line


class Sheets:
    """All files of one catalogue; faults found on the way are kept as "file:line: text"."""

    def __init__(self, files: Mapping[str, str]) -> None:
        self._files = files
        self._lines: dict[str, list[Line]] = {}
        self._broken: list[tuple[Line, frozenset[str]]] = []
        self.faults: list[str] = []

    def fault(self, line: Line, text: str) -> None:
        """Keep a fault of one line."""
        self.faults.append(f"{line.file}:{line.number}: {text}")

    def read(self, file: str, model: type[R]) -> list[Placed[R]]:
        """The rows of one file; a file that is missing or a row that is wrong becomes a fault."""
        if file not in self._files:
            self.faults.append(f"{file}:0: is missing")
            return []
        self._lines[file] = list(self._read_lines(file, model.columns()))
        if not self._lines[file]:
            self.faults.append(f"{file}:1: holds no rows")
        found = [placed for line in self._lines[file] if (placed := self._row(line, model))]
        self._repeated(found, model.key)
        return found

    def broken(
        self, file: str, model: type[R], *, sound: Mapping[str, str]
    ) -> Iterator[tuple[Placed[R], frozenset[str]]]:
        """The rows of a file already read that are wrong, with a sound cell in place of each wrong one, and which

        columns those are: so that the rest of such a row is looked at as well."""
        for line, columns in self._broken:
            if line.file == file:
                cells = {**line.cells, **{column: sound.get(column, "") for column in columns}}
                yield Placed(model.model_validate(cells), line), columns

    def known(self, file: str, column: str) -> frozenset[str]:
        """Every text of a column of a file already read, those of faulty rows too, so that one fault stays one."""
        return frozenset(line.cells.get(column, "") for line in self._lines.get(file, ()))

    def pairs(self, file: str, first: str, second: str) -> set[tuple[str, str]]:
        """As `known`, of two columns."""
        return {(line.cells.get(first, ""), line.cells.get(second, "")) for line in self._lines.get(file, ())}

    def unread(self) -> Iterable[str]:
        """Files that no one asked for."""
        return sorted(set(self._files) - set(self._lines))

    def _read_lines(self, file: str, columns: list[str]) -> Iterator[Line]:
        rows = csv.reader(io.StringIO(self._files[file]), strict=True)
        number = 1
        try:
            header = next(rows, [])
            if header != columns:
                self.faults.append(f"{file}:1: the columns must be {','.join(columns)}")
                return
            number = rows.line_num + 1
            for cells in rows:
                yield from self._line(file, number, columns, cells)
                number = rows.line_num + 1
        except csv.Error as error:
            self.faults.append(f"{file}:{number}: is not CSV ({error})")

    def _line(self, file: str, number: int, columns: list[str], cells: list[str]) -> Iterator[Line]:
        if len(cells) != len(columns):
            self.faults.append(f"{file}:{number}: has {len(cells)} cells, not {len(columns)}")
            return
        line = Line(file, number, dict(zip(columns, cells, strict=True)))
        untidy = [c for c, text in line.cells.items() if text != " ".join(text.split())]
        if untidy:
            self.fault(line, f"{', '.join(untidy)}: has blanks too many or a line break")
        yield line

    def _row(self, line: Line, model: type[R]) -> Placed[R] | None:
        try:
            return Placed(model.model_validate(line.cells), line)
        except ValidationError as error:
            wrong = [(str(one["loc"][0]) if one["loc"] else "", one) for one in error.errors()]
            self._broken.append((line, frozenset(column for column, _ in wrong)))
            for column, one in wrong:
                text = one["msg"].removeprefix("Value error, ")
                self.fault(line, f'{column} "{line.cells.get(column, "")}": {text}')
            return None

    def _repeated(self, rows: Iterable[Placed[R]], key: tuple[str, ...]) -> None:
        seen: dict[tuple[str, ...], int] = {}
        for placed in rows:
            value = tuple(placed.line.cells[column] for column in key)
            if value in seen:
                self.fault(placed.line, f"{', '.join(key)} {' '.join(value)} stands already on line {seen[value]}")
            else:
                seen[value] = placed.line.number
