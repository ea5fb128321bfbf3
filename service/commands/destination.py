"""`destination add|list|enable|disable`: where an organisation's finished posts go."""

import re
from dataclasses import replace
from pathlib import Path
from urllib.parse import urlsplit

from service.basics import destination as terms_of
from service.basics.destination import Terms
from service.commands import stop
from service.commands.table import printable, table
from service.store import SqlBooks

_NAME = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,58}[a-z0-9])?")
_LOOPBACK = frozenset({"127.0.0.1", "::1", "localhost"})


def add(
    books: SqlBooks,
    *,
    organization: str,
    name: str,
    url: str,
    authorization: Path | None = None,
    terms: Terms | None = None,
) -> None:
    """Add a destination; ends the command naming everything that is wrong with it.

    url: the FHIR base of the record system; authorization: a file with the value of its Authorization header, or for
    a webhook the secret that both sides share; terms: what is sent and how, the usual things without."""
    agreed = terms or Terms()
    faults = [] if books.organization(organization) else [f"there is no organisation {printable(organization)}"]
    faults += (
        [] if _NAME.fullmatch(name) else ["a destination's name has 1 to 60 lower case letters, digits and hyphens"]
    )
    faults += [*address_faults(url), *terms_of.faults(agreed)]
    secret = credential(authorization, agreed, faults) if authorization else ""
    if agreed.form == "webhook" and not authorization:
        faults.append("a webhook is signed: give the file with its secret (whsec_...)")
    if faults:
        raise stop.stop(faults)
    settings = terms_of.written(agreed) if agreed != Terms() else ""
    if not books.add_destination(organization, name, url=url.rstrip("/"), authorization=secret, settings=settings):
        raise stop.stop(f"{organization} has a destination {name} already")
    print(f"{organization} sends to {name} at {url.rstrip('/')}")
    if readable_on_the_way(url):
        print("caution: plain http to another machine: names and credentials can be read on the way; use https")


def list_(books: SqlBooks, *, organization: str = "") -> None:
    """Print the destinations of one organisation or of all; credentials are never shown."""
    slugs = [organization] if organization else [each.slug for each in books.organizations()]
    rows = [
        (
            d.organization,
            d.name,
            d.url,
            "notifications" if d.kind == "subscription" else told(terms_of.read(d.settings)),
            "yes" if d.authorization else "no",
            "active" if d.active else f"off: {d.disabled}",
        )
        for slug in slugs
        for d in books.destinations(slug)
    ]
    if not rows:
        print("no destinations: what is finished is sent nowhere")
        return
    for line in table(("organization", "name", "address", "sent", "credentials", "state"), rows):
        print(line)


def change(
    books: SqlBooks,
    *,
    organization: str,
    name: str,
    sends: tuple[str, ...] = (),
    forms: tuple[str, ...] = (),
    formats: tuple[str, ...] = (),
    zone: str | None = None,
) -> None:
    """Change what a destination is sent and how, from the next event on; what is not named stays.

    Bytes that were promised stay as they are; those of a transaction go by the new way of carrying one."""
    row = books.destination(organization, name)
    if row is None:
        raise stop.stop(f"{printable(organization)} has no destination {printable(name)}")
    before = terms_of.read(row.settings)
    kept = forms or before.forms
    agreed = replace(
        before,
        sends=sends or before.sends,
        forms=kept,
        form=before.form if before.form in kept else kept[0],
        formats=formats or before.formats,
        zone=before.zone if zone is None else zone,
    )
    faults = terms_of.faults(agreed)
    if ("webhook" in (agreed.form, before.form)) and agreed.form != before.form:
        faults.append("a webhook has a secret where others have credentials: add it as a destination of its own")
    if faults:
        raise stop.stop(faults)
    books.set_terms(organization, name, terms_of.written(agreed, row.settings))
    print(f"{name} is sent {told(agreed)}")


def told(terms: Terms) -> str:
    """What is sent and how, in a few words."""
    sends = "all" if set(terms.sends) == set(terms_of.SHARES) else ", ".join(terms.sends)
    zone = f", clock of {terms.zone}" if terms.zone else ""
    return f"{sends} by {terms.form}{zone}"


def switch(books: SqlBooks, *, organization: str, name: str, active: bool, why: str = "by an operator") -> None:
    """Enable or disable a destination; what waits for it stays and goes out once it is enabled again."""
    if not books.switch_destination(organization, name, active=active, why=why):
        raise stop.stop(f"{printable(organization)} has no destination {printable(name)}")
    print(f"{name} is {'active' if active else 'off; its posts wait'}")


def address_faults(url: str) -> list[str]:
    """What is wrong with the base URL of a record system: nothing, or a line for each thing."""
    try:
        parts = urlsplit(url)
        port_fits = parts.port is None or parts.port > 0
    except ValueError:
        return ["the address cannot be read as a URL"]
    checks = (
        (
            parts.scheme in ("http", "https") and bool(parts.hostname),
            "the address starts with https:// (or http://) and a host",
        ),
        (
            url.isascii() and url.isprintable() and " " not in url,
            "the address has spaces or characters to be %-encoded",
        ),
        (parts.username is None and parts.password is None, "credentials do not belong into the address"),
        (not parts.query and not parts.fragment, "the address is the FHIR base, without ? or #"),
        (port_fits, "the port must be from 1 to 65535"),
    )
    return [words for fits, words in checks if not fits]


def readable_on_the_way(url: str) -> bool:
    """True for plain http to anything but this machine."""
    parts = urlsplit(url)
    return parts.scheme == "http" and parts.hostname not in _LOOPBACK


def credential(file: Path, terms: Terms, faults: list[str]) -> str:
    """What a file holds that the destination asks for; what is wrong with it is added to the faults."""
    try:
        text = file.read_text(encoding="ascii").strip()
    except (OSError, UnicodeError) as fault:
        faults.append(f"{file}: cannot be read ({type(fault).__name__})")
        return ""
    if terms.form == "webhook":
        if not text or not all(one.startswith("whsec_") for one in text.split()):
            faults.append(f"{file}: one secret such as whsec_..., or the new and the old one, is needed")
    elif not text.isprintable() or not re.match(r"[A-Za-z][A-Za-z0-9-]* +\S", text):
        faults.append(f"{file}: one line such as 'Bearer ...' is needed")
    return text
