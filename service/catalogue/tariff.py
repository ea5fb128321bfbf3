"""An organisation's own rows of the price list: laid over everybody's, changed by an import, and what that changes."""

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from service.billing.tariff import Price
from service.catalogue.catalogue import Catalogue
from service.catalogue.rows_trade import PriceRow

FILE = "tariff.csv"
EVERYBODY = "*"
KEPT = 256  # price lists, in memory
UNPRICED = frozenset({"valid_to", "note"})  # cells whose change leaves the price of a day as it is
Cells = dict[str, str]
Key = tuple[str, ...]
_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Repriced:
    """Days from `first` to `last` (None: open) on which a charge would be priced otherwise than before."""

    charge: str
    row: str
    first: date
    last: date | None


@dataclass(frozen=True, slots=True)
class Import:
    """An organisation's rows after an import. origin: line of the imported file by key; faults: with their lines."""

    rows: Mapping[Key, Cells]
    origin: Mapping[Key, int]
    faults: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """All rows as a file of the price list."""
        return written(self.rows.values())


class OwnPrices:
    """The price lists of organisations with rows of their own; read as whole catalogues, kept as prices."""

    def __init__(self, read: Callable[[Mapping[str, str]], Catalogue]) -> None:
        self._read = read
        self._kept: dict[tuple[str, str], tuple[Price, ...]] = {}

    def over(self, catalogue: Catalogue, own: str) -> Catalogue:
        """The catalogue with an organisation's own rows in its price list ("" for none). Raises CatalogueFaults.

        Its hash leaves them out: they are dated, and no exam is judged by them."""
        if not own:
            return catalogue
        key = (catalogue.hash, own)
        if key not in self._kept:
            prices = self._read(laid_over(catalogue.files, own)).prices
            self._kept = dict([*self._kept.items()][1 - KEPT :]) | {key: prices}
        return replace(catalogue, prices=self._kept[key])


def own_rows(text: str) -> dict[Key, Cells]:
    """The rows of an organisation's own file by key; "" has none."""
    return {_key(cells): cells for _, cells in _read(text)}


def laid_over(files: Mapping[str, str], own: str) -> dict[str, str]:
    """The mapping files with an organisation's own rows in the price list, behind everybody's."""
    return {**files, FILE: files[FILE].rstrip("\n") + "\n" + own.partition("\n")[2]} if own else dict(files)


def imported(general: str, before: str, given: str, *, organization: str) -> Import:
    """The organisation's rows with those of a given file: each takes the place of the row of the same key, or is added.

    An open row of the same charge that began earlier ends the day before. Where the organisation has no row of its own
    for a charge as yet, it takes over everybody's first: with a row of its own those no longer hold for it.
    general: everybody's file; before: the organisation's own until now."""
    rows, origin, faults = own_rows(before), dict[Key, int](), []
    columns = PriceRow.columns()
    if given.partition("\n")[0] != ",".join(columns):
        return Import(rows, {}, (f"1: the columns must be {','.join(columns)}",))
    for line, cells in _read(given):
        if cells.keys() != set(columns):
            faults.append(f"{line}: has {len(cells)} cells, not {len(columns)}")
        elif cells["organization"] not in {"", organization}:
            faults.append(f'{line}: organization "{cells["organization"]}" must be empty or {organization}')
        elif earlier := origin.get(_key({**cells, "organization": organization})):
            faults.append(f"{line}: {named(cells)} has its price in line {earlier} already")
        else:
            cells = {**cells, "organization": organization}
            _take_over(rows, general, cells["charge"], organization)
            _end_before(rows, cells)
            rows[_key(cells)] = cells
            origin[_key(cells)] = line
    return Import(rows, origin, tuple(faults))


def differences(before: Mapping[Key, Cells], after: Mapping[Key, Cells]) -> Iterator[str]:
    """What changed, a line for each row that is new and for each cell that is another."""
    for key, cells in after.items():
        old = before.get(key)
        if old is None:
            told = ", ".join(f"{c} {text}" for c, text in cells.items() if text and text not in {*key, "*"})
            yield f"{named(cells)}: new, {told}"
        else:
            for column, text in cells.items():
                if text != old[column]:
                    yield f'{named(cells)}: {column} "{old[column]}" -> "{text}"'
    for key, cells in before.items():
        if key not in after:
            yield f"{named(cells)}: gone"


def repriced(before: Mapping[Key, Cells], after: Mapping[Key, Cells]) -> Iterator[Repriced]:
    """The days on which a row that was in force would no longer give the same price."""
    for key, old in before.items():
        new = after.get(key)
        first, last = _day(old["valid_from"]), _day(old["valid_to"])
        if first is None:
            continue
        if new is None or any(new[c] != old[c] for c in old if c not in UNPRICED and c != "organization"):
            yield Repriced(old["charge"], named(old), first, last)
            continue
        ends = _day(new["valid_to"])
        if ends is not None and (last is None or ends < last):
            yield Repriced(old["charge"], named(old), ends + _ONE_DAY, last)


def general_rows(general: str, charges: Iterable[str], organization: str) -> dict[Key, Cells]:
    """Everybody's rows for some charges as if they were the organisation's own."""
    wanted = set(charges)
    found = [c for _, c in _read(general) if c["organization"] == EVERYBODY and c["charge"] in wanted]
    return {_key(own): own for own in ({**cells, "organization": organization} for cells in found)}


def named(cells: Cells) -> str:
    """What a row is called: its charge, its variant where there is one, and its first day."""
    key = [cells[column] for column in PriceRow.key if column != "organization"]
    return " ".join(part for part in key if part)


def written(rows: Iterable[Cells]) -> str:
    """Rows as a file of the price list, "" for none."""
    out, columns = io.StringIO(), PriceRow.columns()
    lines = csv.DictWriter(out, columns, lineterminator="\n")
    lines.writeheader()
    found = list(rows)
    lines.writerows(found)
    return out.getvalue() if found else ""


def _take_over(rows: dict[Key, Cells], general: str, charge: str, organization: str) -> None:
    if not any(cells["charge"] == charge for cells in rows.values()):
        rows |= general_rows(general, [charge], organization)


def _end_before(rows: dict[Key, Cells], new: Cells) -> None:
    """End the open row of the same charge and variant that begins before a new one does."""
    begins = _day(new["valid_from"])
    for key, cells in rows.items():
        same = all(cells[column] == new[column] for column in PriceRow.key if column != "valid_from")
        first = _day(cells["valid_from"])
        if same and not cells["valid_to"] and first is not None and begins is not None and first < begins:
            rows[key] = {**cells, "valid_to": (begins - _ONE_DAY).isoformat()}


def _read(text: str) -> Iterator[tuple[int, Cells]]:
    """(line, cells by column) of each row; a row of another length has keys that are no columns."""
    rows = csv.reader(io.StringIO(text))
    columns = next(rows, [])
    for cells in rows:
        if cells:
            names = columns if len(cells) == len(columns) else [str(n) for n in range(len(cells))]
            yield rows.line_num, dict(zip(names, cells, strict=True))


def _key(cells: Cells) -> Key:
    return tuple(cells[column] for column in PriceRow.key)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
