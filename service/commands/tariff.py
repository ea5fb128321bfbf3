"""`tariff import|log`: an organisation's own prices, what an import changes, and who changed which price and when."""

from pathlib import Path

from service.actions import import_tariff
from service.basics.errors import Refusal
from service.catalogue.catalogue import Catalogue
from service.commands import stop
from service.commands.billing import house_of
from service.commands.table import printable
from service.store import SqlBooks


def import_(
    books: SqlBooks, catalogue: Catalogue, organization: str, *, file: Path, by: str, dry_run: bool = False
) -> None:
    """Print what the file changes and put it in force; dry_run: print alone. Ends the command with every fault."""
    house = house_of(books, catalogue, organization)
    try:
        change = import_tariff.plan(house, organization, name=file.name, given=_text(file))
        for line in change.lines or ("nothing changes",):
            print(printable(line))
        if dry_run or not change.lines:
            print("nothing was written")
            return
        import_tariff.keep(house, organization, change, by=by)
    except Refusal as refusal:
        raise stop.stop([printable(f.text) for f in refusal.faults]) from None
    print(f"in force for {organization}: an exam is priced by the day on which it began")


def log(books: SqlBooks, organization: str) -> None:
    """Print every change of the organisation's prices, the oldest first."""
    if books.organization(organization) is None:
        raise stop.stop(f"there is no organisation {printable(organization)}")
    found = books.overlays(organization, import_tariff.KIND)
    for row in found:
        print(f"{row.made} by {printable(row.by)}")
        for line in row.difference.splitlines():
            print(f"  {printable(line)}")
    if not found:
        print("no prices of its own: everybody's hold")


def _text(file: Path) -> str:
    try:
        return file.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise stop.stop(f"{file.name}:{line}: is not UTF-8") from None
    except OSError as error:
        raise stop.stop(f"{file.name}: {error.strerror}") from None
