"""The printed form of an invoice into its narrative: XHTML without anything active."""

from collections.abc import Iterator, Sequence
from html import escape

from service.billing.sheet import Entry, Fact, Party, Sheet
from service.fhir import uris


def narrative(sheet: Sheet) -> str:
    """The whole invoice as one XHTML div."""
    language = escape(sheet.language)
    parts = [
        f"<h1>{escape(sheet.heading)}</h1>",
        *(f"<p>{escape(text)}</p>" for text in sheet.notices),
        *map(_party, (sheet.seller, sheet.buyer)),
        *map(_fact, (*sheet.facts, *sheet.exam)),
        _table(sheet),
        *map(_fact, sheet.payment),
        *(f"<p>{escape(text)}</p>" for text in sheet.notes),
    ]
    return f'<div xmlns="{uris.XHTML}" lang="{language}" xml:lang="{language}">{"".join(parts)}</div>'


def _party(party: Party) -> str:
    return _fact(Fact(party.label, ", ".join((party.name, *party.lines))))


def _fact(fact: Fact) -> str:
    return f"<p>{escape(fact.label)}: {escape(fact.text)}</p>"


def _table(sheet: Sheet) -> str:
    words = sheet.words
    heads = (words["line"], words["service"], words["quantity"], words["rate"], sheet.net_head)
    head = "<tr>" + "".join(f"<th>{escape(text)}</th>" for text in heads) + "</tr>"
    rows = [*map(_entry, sheet.entries), *_sums(sheet)]
    return f"<table>{head}{''.join(rows)}</table>"


def _entry(entry: Entry) -> str:
    text = ", ".join((entry.text, *entry.remarks))
    return _row([entry.number, text, entry.quantity, entry.rate, entry.net])


def _sums(sheet: Sheet) -> Iterator[str]:
    words = sheet.words
    for one in sheet.taxes:
        why = f" ({one.reason})" if one.reason else ""
        yield _sum(Fact(f"{one.category} {one.rate}{why}, {words['base']} {one.base}, {words['tax']}", one.tax))
    yield from map(_sum, (*sheet.totals, sheet.due))


def _sum(fact: Fact) -> str:
    return f'<tr><td colspan="4">{escape(fact.label)}</td><td>{escape(fact.text)}</td></tr>'


def _row(cells: Sequence[str]) -> str:
    return "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"
