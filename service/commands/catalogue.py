"""`catalogue import|log|clear`: a practice's own rows over the catalogue, with what they change, who asked and when."""

from pathlib import Path

from service.catalogue.catalogue import Catalogue
from service.catalogue.faults import CatalogueFaults
from service.catalogue.files import pack, read_folder, unpack
from service.catalogue.load import load, overlaid
from service.catalogue.overlay import difference
from service.catalogue.tariff import laid_over
from service.commands import stop
from service.commands.table import printable
from service.store import SqlBooks
from service.store.register import TARIFF


def in_force(books: SqlBooks, current: Catalogue, organization: str) -> Catalogue:
    """The catalogue in force for an organisation; ends the command with all faults when its own rows no longer fit."""
    _known(books, organization)
    rows = books.overlays(organization)
    if not rows or not rows[-1].files:
        return current
    try:
        return overlaid(current.files, unpack(rows[-1].files))
    except CatalogueFaults as wrong:
        raise stop.stop([f"rows of {organization}: {fault}" for fault in wrong.faults]) from None


def all_fit(books: SqlBooks, current: Catalogue) -> None:
    """End the command with every fault when the rows or prices of some practice no longer fit the catalogue."""
    for one in books.organizations():
        found = in_force(books, current, one.slug)
        prices = books.overlays(one.slug, TARIFF)
        try:
            if prices:
                load(laid_over(found.files, prices[-1].files))
        except CatalogueFaults as wrong:
            raise stop.stop([f"prices of {one.slug}: {fault}" for fault in wrong.faults]) from None


def import_(books: SqlBooks, current: Catalogue, organization: str, *, folder: Path, by: str, dry_run: bool) -> None:
    """Put the folder's rows over the catalogue in the place of those before, and print what that changes.

    dry_run: print alone. Ends the command with every fault, by file and line of the folder."""
    _known(books, organization)
    try:
        own = read_folder(folder)
        after = overlaid(current.files, own)
    except CatalogueFaults as wrong:
        raise stop.stop(wrong.faults) from None
    _change(books, current, organization, after=after, files=pack(own), by=by, dry_run=dry_run)


def clear(books: SqlBooks, current: Catalogue, organization: str, *, by: str, dry_run: bool) -> None:
    """Take a practice's own rows away again, and print what that changes."""
    _change(books, current, organization, after=current, files="", by=by, dry_run=dry_run)


def _change(
    books: SqlBooks, current: Catalogue, organization: str, *, after: Catalogue, files: str, by: str, dry_run: bool
) -> None:
    lines = difference(in_force(books, current, organization).files, after.files)
    for line in lines or ["nothing changes"]:
        print(printable(line))
    if dry_run or not lines:
        print("nothing was written")
        return
    books.add_overlay(organization, by=by, files=files, difference="\n".join(lines))
    print(f"in force for exams of {organization} that are opened from now on; catalogue {after.hash[:12]}")


def log(books: SqlBooks, organization: str) -> None:
    """Print every change of a practice's own rows, the oldest first."""
    _known(books, organization)
    for row in books.overlays(organization):
        print(f"{row.made} by {printable(row.by)}{'' if row.files else ': own rows taken away'}")
        for line in row.difference.splitlines():
            print(f"  {printable(line)}")


def _known(books: SqlBooks, organization: str) -> None:
    if books.organization(organization) is None:
        raise stop.stop(f"there is no organisation {organization}")
