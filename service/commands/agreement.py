"""`agreement add|list|end`: what clinics and hospitals agreed on about referrals, and the way between them."""

from collections.abc import Collection
from dataclasses import replace
from pathlib import Path

from service.basics import agreement as terms
from service.basics import destination as posted
from service.basics.agreement import IN_HOUSE, PREFIX, Agreement
from service.basics.destination import Terms
from service.commands import destination, stop
from service.commands.table import printable, table
from service.store import SqlBooks

HERE = "in-house:"  # how the address of an organisation of this very service begins; it is never contacted


def add(
    books: SqlBooks, given: Agreement, *, services: Collection[str], url: str = "", authorization: Path | None = None
) -> None:
    """Add an agreement and the way to either side; ends the command naming everything that is wrong with it.

    url and authorization: where a clinic elsewhere is told, without which it only asks."""
    faults = terms.faults(given, services=services)
    for slug in filter(None, (given.hospital, given.clinic)):
        there = books.organization(slug)
        if there is None or there.kind == "records":
            faults.append(f"there is no practice or clinic {printable(slug)}")
    if given.clinic and url:
        faults.append("a clinic that is an organisation here needs no address")
    faults += [] if terms_fit(given.id) else ["an agreement's name has 1 to 50 lower case letters, digits and hyphens"]
    faults += destination.address_faults(url) if url else []
    if not given.by:
        faults.append("say who agreed on it (--by)")
    credential: list[str] = []
    secret = destination.credential(authorization, Terms(), credential) if authorization else ""
    if faults or credential:
        raise stop.stop([*faults, *credential])
    clinic = books.organization(given.clinic) if given.clinic else None
    if not books.add_agreement(replace(given, title=clinic.name if clinic else given.title or given.client)):
        raise stop.stop(f"{given.hospital} has an agreement {printable(given.id)} already")
    _ways(books, given, url=url, secret=secret)
    print(f"{given.id}: {given.party} refers to {given.hospital}")


def list_(books: SqlBooks, organization: str) -> None:
    """Print the agreements of an organisation."""
    rows = [
        (
            one.id,
            one.party,
            one.hospital,
            ", ".join(one.services) or "all",
            one.bills,
            ", ".join(one.shares) or "status only",
            "needed" if one.consent else "not asked",
            f"{one.starts or '...'} to {one.ends or '...'}",
        )
        for one in books.agreements(organization)
    ]
    for line in table(("agreement", "clinic", "hospital", "services", "billed", "shared", "consent", "holds"), rows):
        print(line)


def end(books: SqlBooks, organization: str, id_: str, *, day: str, by: str) -> None:
    """Let an agreement end with a day: nothing new is referred; what was reported before is still kept right."""
    found = next((one for one in books.agreements(organization) if one.id == id_), None)
    if found is None:
        raise stop.stop(f"{printable(organization)} has no agreement {printable(id_)}")
    faults = terms.faults(replace(found, ends=day, services=()), services=())
    if faults:
        raise stop.stop(faults)
    books.end_agreement(found, day=day, by=by)
    print(f"{found.id} holds to the end of {day}")


def terms_fit(name: str) -> bool:
    """Whether a name is one for an agreement."""
    return 0 < len(name) <= 50 and all(c.isascii() and (c.islower() or c.isdigit() or c == "-") for c in name)


def _ways(books: SqlBooks, given: Agreement, *, url: str, secret: str) -> None:
    name, sends = f"{PREFIX}{given.id}", (*given.shares, "status", "urgent")
    if given.clinic:
        home = posted.written(Terms(sends, (IN_HOUSE,), IN_HOUSE, agreement=given.id))
        for here, there in ((given.hospital, given.clinic), (given.clinic, given.hospital)):
            books.add_destination(here, name, url=f"{HERE}{there}", kind="referral", settings=home)
    elif url:
        away = posted.written(Terms(sends, agreement=given.id))
        books.add_destination(
            given.hospital, name, url=url.rstrip("/"), authorization=secret, kind="referral", settings=away
        )
