"""Turns a composed report into one printable HTML page that needs nothing from outside and runs nothing."""

from functools import cache
from importlib.resources import files
from itertools import groupby

from jinja2 import Environment, StrictUndefined, Template

from service.exam.report_parts import Report, Section, Statement

AS_ROWS = ("identity", "question", "preparation", "signature")


def html(report: Report) -> str:
    """The report as a page; every text of it is escaped by the template engine."""
    return _template().render(report=report, stations=_stations, as_rows=AS_ROWS)


def _stations(section: Section) -> list[tuple[str, list[Statement]]]:
    return [(name, list(group)) for name, group in groupby(section.statements, key=lambda s: s.station)]


@cache
def _template() -> Template:
    text = files("service.fhir.writing").joinpath("report.html.j2").read_text(encoding="utf-8")
    shop = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return shop.from_string(text)
