"""`organization add|list`: an organisation, its settings and billing profile, and its Organization resource."""

import json
import re
import unicodedata
from pathlib import Path

from service.actions.writing import write
from service.basics.errors import Refusal
from service.basics.ids import new_id
from service.billing.practice import Practice
from service.commands import stop
from service.commands.table import table
from service.fhir import uris
from service.fhir.reading.practice import practice
from service.store import SqlBooks

KINDS = ("practice", "clinic", "records")


def slug(name: str) -> str:
    """A name as the short word that tokens and rows carry: lower case letters, digits and hyphens."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60]


def add(books: SqlBooks, name: str, *, kind: str, billing: Path | None, row: Practice) -> str:
    """Make the organisation, or give an existing one new settings; returns its slug, or ends the command."""
    short = slug(name)
    if kind not in KINDS or not short:
        wrong = f"kind must be one of {', '.join(KINDS)}" if short else "the name needs letters or digits"
        raise stop.stop(wrong)
    text = settings_text(billing, row) if billing else ""
    if books.add_organization(short, name, kind, text):
        _resource(books, short, name)
        return short
    there = books.organization(short)
    if there is not None and there.kind != kind:
        raise stop.stop(f"{short} exists already, as a {there.kind}")
    if text:
        books.set_settings(short, text)
    return short


def settings_text(file: Path, row: Practice) -> str:
    """The settings file, checked; ends the command naming everything wrong with it."""
    try:
        text = file.read_text(encoding="utf-8")
        practice(text, row)
    except OSError as error:
        raise stop.stop(f"{file}: {error.strerror}") from None
    except Refusal as refusal:
        raise stop.stop([f"{file}: {f.where}: {f.text}" for f in refusal.faults]) from None
    return json.dumps(json.loads(text), ensure_ascii=False)


def _resource(books: SqlBooks, short: str, name: str) -> None:
    organization = {
        "resourceType": "Organization",
        "id": new_id(),
        "identifier": [{"system": uris.ORGANIZATION, "value": short}],
        "active": True,
        "name": name,
    }
    with books.begin(short) as work:
        write(work, [organization])


def list_(books: SqlBooks) -> None:
    """Print all organisations: slug, kind, name, and whether a billing profile is there."""
    rows = [(o.slug, o.kind, o.name, "yes" if o.settings else "no") for o in books.organizations()]
    for line in table(("slug", "kind", "name", "settings"), rows):
        print(line)
