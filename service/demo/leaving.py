"""What the story leaves in the folder: report and invoice as pages and as FHIR, and the delivered Bundle."""

from pathlib import Path

from service.demo.client import Json
from service.demo.presented import text_of
from service.fhir import exact

PAGE = (
    '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
    "<style>body{{font:16px/1.5 sans-serif;max-width:50em;margin:2em auto;padding:0 1em}}"
    "td,th{{padding:.2em .8em;text-align:left}}</style></head><body>{body}</body></html>\n"
)


def leave_report(folder: Path, name: str, report: Json) -> Path:
    """The report as the page a person reads."""
    return _written(folder / f"{name}.html", text_of(report, "text/html"))


def leave_invoice(folder: Path, name: str, invoice: Json) -> list[Path]:
    """The invoice as a page and as the FHIR resource."""
    title = f"{invoice['type']['text']} {invoice['identifier'][0]['value']}"
    page = _written(folder / f"{name}.html", PAGE.format(title=title, body=invoice["text"]["div"]))
    return [page, _written(folder / f"{name}.json", exact.pretty(exact.encode(invoice)).decode())]


def leave_bundle(folder: Path, name: str, body: str) -> Path:
    """The delivered Bundle, byte for byte as it was sent."""
    return _written(folder / f"{name}.json", body)


def _written(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path
