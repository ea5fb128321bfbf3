"""`billing numbers`: the series of invoice numbers, year by year, and whether one is missing."""

import json
from collections.abc import Iterator
from dataclasses import asdict

from service.actions.invoice_numbers import number_series
from service.actions.ports import House
from service.billing.numbers import Run, Series
from service.commands import stop
from service.commands.table import table

HEAD = ("year", "invoices", "first", "last", "given out", "missing")


def numbers(house: House, organization: str, *, as_json: bool = False) -> None:
    """Print the series; ends with 1 when a number is missing, there twice or was never given out."""
    found = number_series(house, organization)
    if as_json:
        print(json.dumps([{**asdict(one), "sound": one.sound} for one in found]))
    elif not found:
        print("no invoice has a number")
    else:
        for line in table(HEAD, [_row(one) for one in found]):
            print(line)
    faults = [fault for one in found for fault in _faults(one)]
    if faults:
        raise stop.stop(faults)


def _row(one: Series) -> tuple[str, ...]:
    gaps = ", ".join(_run(one, gap) for gap in one.gaps) or "none"
    ends = (_number(one, one.first), _number(one, one.last)) if one.count else ("", "")
    return (str(one.year), str(one.count), *ends, str(one.drawn), gaps)


def _faults(one: Series) -> Iterator[str]:
    for gap in one.gaps:
        yield f"no invoice has the number {_run(one, gap)}"
    for number in one.twice:
        yield f"several invoices have the number {_number(one, number)}"
    for number in one.beyond:
        yield f"the number {_number(one, number)} was never given out here"


def _run(one: Series, gap: Run) -> str:
    first, last = gap
    return _number(one, first) if first == last else f"{_number(one, first)} to {_number(one, last)}"


def _number(one: Series, number: int) -> str:
    return f"{one.year}-{number:06d}"
