"""`billing report`: the invoices of a day or a month and what they come to, as CSV, JSON or lines for people."""

import json
import sys
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Protocol, TextIO

from service.actions import billing_report as action
from service.actions.ports import House
from service.basics.errors import Refusal
from service.billing.books import COUNTED, Booked, Sum, Sums
from service.commands import cells, stop
from service.commands.table import printable

Json = dict[str, Any]
COLUMNS = (
    *("row", "date", "number", "kind", "status", "payer", "animal", "exam", "credited", "currency"),
    *("tax_category", "tax_rate", "net", "tax", "gross", "cash_rounding", "due", "invoices", "credits"),
)
AMOUNTS = {
    "net": "net",
    "tax": "tax",
    "gross": "gross",
    "cash_rounding": "rounding",
    "due": "due",
}  # column -> of a line
SUMS = {**AMOUNTS, "cash_rounding": "cash"}  # column -> of a sum
FORMATS = ("text", "csv", "json")


class Form(Protocol):
    """How a report is written: its beginning, a line for each invoice, its sums."""

    def begin(self, stretch: str, organization: str, *, closed: str) -> None: ...
    def line(self, one: Booked) -> None: ...
    def end(self, sums: Iterable[Sum]) -> None: ...


def report(
    house: House,
    organization: str,
    *,
    stretch: str,
    format_: str = "text",
    sums_only: bool = False,
    out: TextIO | None = None,
) -> None:
    """Write the report, line after line as it is read. Ends the command when it can't be made, or does not add up."""
    form = _FORMS["sums" if sums_only else format_](out or sys.stdout)
    try:
        wanted = action.stretch(stretch)
        with house.books.view(organization) as view:
            closed = next((c for c in view.closed_months() if c.month == wanted.name), None)
            form.begin(wanted.name, organization, closed=closed.closed if closed else "")
            faults = _write(action.invoices(house, view, wanted), form)
    except Refusal as refusal:
        raise stop.stop([f.text for f in refusal.faults]) from None
    if faults:
        raise stop.stop(faults)


def _write(found: Iterable[Booked], form: Form) -> list[str]:
    sums, faults = Sums(), []
    for one in found:
        form.line(one)
        sums.add(one)
        faults += [f"Invoice/{one.id} ({one.number}): {fault}" for fault in one.faults]
    form.end(sums.all())
    return faults


def totals(sums: Iterable[Sum]) -> list[Json]:
    """Sums as JSON, amounts as text with the currency's digits."""
    return [
        {
            "currency": one.currency.code,
            "invoices": one.invoices,
            "credits": one.credits,
            **{column: _text(one, getattr(one, name)) for column, name in SUMS.items()},
            "rates": [
                {"category": category, "rate": format(rate, "f"), "base": _text(one, base), "tax": _text(one, tax)}
                for (category, rate), (base, tax) in sorted(one.rates.items())
            ],
        }
        for one in sums
    ]


def _text(one: Sum, minor: int) -> str:
    return format(one.money(minor).decimal(), "f")


def _told(one: Booked) -> Json:
    names = ("date", "number", "kind", "status", "payer", "animal", "exam", "credited")
    amounts = {column: format(getattr(one, name).decimal(), "f") for column, name in AMOUNTS.items()}
    return {**{name: getattr(one, name) for name in names}, "currency": one.net.currency.code, **amounts}


class _Csv:
    def __init__(self, out: TextIO) -> None:
        self._out = out

    def begin(self, stretch: str, organization: str, *, closed: str) -> None:
        self._sheet = cells.writer(self._out, COLUMNS)

    def line(self, one: Booked) -> None:
        amounts = {column: getattr(one, name).decimal() for column, name in AMOUNTS.items()}
        row = "invoice" if one.status in COUNTED else "not counted"
        self._sheet.row({"row": row, **_told(one), **amounts})

    def end(self, sums: Iterable[Sum]) -> None:
        for one in sums:
            for (category, rate), (base, tax) in sorted(one.rates.items()):
                amounts = {"net": one.money(base).decimal(), "tax": one.money(tax).decimal()}
                rated = {"tax_category": category, "tax_rate": rate, "currency": one.currency.code}
                self._sheet.row({"row": "rate", **rated, **amounts})
            amounts = {column: one.money(getattr(one, name)).decimal() for column, name in SUMS.items()}
            counts = {"invoices": one.invoices, "credits": one.credits}
            self._sheet.row({"row": "total", "currency": one.currency.code, **counts, **amounts})


class _Json:
    def __init__(self, out: TextIO) -> None:
        self._out, self._first = out, True

    def begin(self, stretch: str, organization: str, *, closed: str) -> None:
        head = json.dumps({"organization": organization, "period": stretch, "closed": closed}, ensure_ascii=False)
        self._out.write(f'{head[:-1]}, "invoices": [')

    def line(self, one: Booked) -> None:
        self._out.write(("" if self._first else ",") + "\n" + json.dumps(_told(one), ensure_ascii=False))
        self._first = False

    def end(self, sums: Iterable[Sum]) -> None:
        self._out.write(f'\n], "totals": {json.dumps(totals(sums), ensure_ascii=False)}}}\n')


class _Text:
    def __init__(self, out: TextIO) -> None:
        self._out = out

    def begin(self, stretch: str, organization: str, *, closed: str) -> None:
        self._say(f"{stretch} of {organization}" + (f", closed {closed}" if closed else ""))

    def line(self, one: Booked) -> None:
        told = _told(one)
        words = [told[name] for name in ("date", "number", "kind", "status", "gross", "currency", "payer", "animal")]
        credited = f"takes back {one.credited}" if one.credited else ""
        self._say("  ".join(part for part in [*words, credited] if part))

    def end(self, sums: Iterable[Sum]) -> None:
        lines = list(_sums(totals(sums)))
        for line in lines or ["no invoice"]:
            self._say(line)

    def _say(self, line: str) -> None:
        self._out.write(printable(line) + "\n")


def _sums(found: Iterable[Json]) -> Iterator[str]:
    for one in found:
        counts = f"{one['invoices']} invoices, {one['credits']} credits"
        yield f"{counts}: net {one['net']}, tax {one['tax']}, gross {one['gross']} {one['currency']}"
        if one["due"] != one["gross"]:
            yield f"  rounding to coins {one['cash_rounding']}, due {one['due']}"
        for rated in one["rates"]:
            category = f"{rated['category']} " if rated["category"] else ""
            yield f"  {category}{rated['rate']} %: {rated['tax']} on {rated['base']}"


class _Sums(_Text):
    def line(self, one: Booked) -> None:
        """Only what they come to."""


_FORMS: Mapping[str, Any] = {"text": _Text, "csv": _Csv, "json": _Json, "sums": _Sums}
