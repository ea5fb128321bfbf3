"""Turns the printed form of an invoice into one HTML page that needs nothing from outside and runs nothing."""

from functools import cache
from importlib.resources import files

from jinja2 import Environment, StrictUndefined, Template

from service.billing.sheet import Sheet


def html(sheet: Sheet) -> str:
    """The invoice as a page; every text of it is escaped by the template engine."""
    return _template().render(sheet=sheet, words=sheet.words)


@cache
def _template() -> Template:
    text = files("service.fhir.writing").joinpath("invoice.html.j2").read_text(encoding="utf-8")
    shop = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return shop.from_string(text)
