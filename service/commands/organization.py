"""`organization add`: an organisation of the service, its settings and billing profile, and its Organization resource."""

import json
import re
import unicodedata
from pathlib import Path

from service.actions.ports import Books
from service.actions.writing import write
from service.basics.errors import Refusal
from service.basics.ids import new_id
from service.billing.practice import Practice
from service.commands import stop
from service.fhir import uris
from service.fhir.reading.practice import practice
from service.store import SqlBooks

KINDS = ("practice", "clinic", "records")


def slug(name: str) -> str:
    """A name as the short word that tokens and rows carry: lower case letters, digits and hyphens."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60]


def add(books: SqlBooks, name: str, *, kind: str, billing: Path | None, row: Practice) -> str:
    """Make the organisation (or give an existing one new settings) and return its slug; ends the command when it can't."""
    short = slug(name)
    if kind not in KINDS or not short:
        wrong = f"kind must be one of {', '.join(KINDS)}" if short else "the name needs letters or digits"
        raise stop.stop(wrong)
    text = settings_text(billing, row) if billing else ""
    if books.add_organization(short, name, kind, text):
        _resource(books, short, name)
    elif text:
        books.set_settings(short, text)
    elif books.organization(short).kind != kind:
        raise stop.stop(f"{short} exists already, as a {books.organization(short).kind}")
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


def _resource(books: Books, short: str, name: str) -> None:
    organization = {
        "resourceType": "Organization",
        "id": new_id(),
        "identifier": [{"system": uris.ORGANIZATION, "value": short}],
        "active": True,
        "name": name,
    }
    with books.begin(short) as work:
        write(work, [organization])
