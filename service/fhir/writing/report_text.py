"""Turns a composed report into plain text, one statement a line, and into the narrative of its resource."""

from collections.abc import Iterator
from html import escape

from service.exam.report_changes import full_text
from service.exam.report_parts import Report, Section, Statement
from service.fhir.uris import XHTML


def plain_text(report: Report) -> str:
    """The whole report for systems that take nothing else.

    fhir/reading/report.py reads its statements back: a title is underlined with =, a label ends in colon and tab."""
    return "\n".join(_text(report)) + "\n"


def _text(report: Report) -> Iterator[str]:
    yield report.title.upper()
    yield from filter(None, (report.practice, report.animal_words))
    yield f"Status: {report.status_words}, version {report.edition.number}. Issued {report.issued_words}."
    yield from (f"*** {_indented(n)}" for n in report.notices)
    many = len(report.conclusions) > 1
    said = (f"{f'{n}.' if many else '*'} {_indented(t)}" for n, t in enumerate(_conclusions(report), start=1))
    yield from ("", "In brief", *said, *(f"* {_indented(t)}" for t in report.brief))
    for section in report.sections:
        yield from ("", section.title, "=" * len(section.title))
        yield from _section(section)
    yield from ("", "Cautions", "~" * 8)
    yield from (f"- {_indented(text)} [{id_}]" for id_, text in report.cautions)


def _conclusions(report: Report) -> tuple[str, ...]:
    return report.conclusions or ("No conclusion was stated.",)


def _section(section: Section) -> Iterator[str]:
    station = ""
    for number, statement in enumerate(section.statements, start=1):
        if statement.station != station:
            station = statement.station
            yield from (station, "-" * len(station))
        label = f"{statement.label}:\t" if statement.label else ""
        yield f"{f'{number}.' if section.numbered else '-'} {label}{_indented(full_text(statement))}"


def _indented(text: str) -> str:
    """A person's line breaks stay, but no line of theirs can look like one of the report's own."""
    return text.replace("\n", "\n    ")


def narrative(report: Report) -> str:
    """The report as the XHTML div of DomainResource.text: our own elements, every text escaped."""
    parts = [f"<p><b>{_x(report.title)}</b>, {_x(report.status_words)}, version {report.edition.number}</p>"]
    parts += [f"<p>{_x(t)}</p>" for t in (report.practice, report.animal_words) if t]
    parts += [f"<p><b>{_x(n)}</b></p>" for n in report.notices]
    parts += ["<h3>In brief</h3>", _list([_x(t) for t in (*_conclusions(report), *report.brief)])]
    parts += [_div_section(s) for s in report.sections]
    parts += ["<h3>Cautions</h3>", _list([_x(text) for _, text in report.cautions])]
    return f'<div xmlns="{XHTML}" lang="{_x(report.language)}" xml:lang="{_x(report.language)}">{"".join(parts)}</div>'


def _div_section(section: Section) -> str:
    items = [_item(s) for s in section.statements]
    return f"<h3>{_x(section.title)}</h3>{_list(items, ordered=section.numbered)}"


def _item(statement: Statement) -> str:
    label = f"<b>{_x(statement.label)}</b>: " if statement.label else ""
    return label + _x(full_text(statement))


def _list(items: list[str], *, ordered: bool = False) -> str:
    kind = "ol" if ordered else "ul"
    return f"<{kind}>{''.join(f'<li>{i}</li>' for i in items)}</{kind}>" if items else ""


def _x(text: str) -> str:
    return escape(text).replace("\n", "<br/>")
