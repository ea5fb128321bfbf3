"""`unmapped`: the codes that senders used and no row of the mappings knows, most often seen first."""

from service.commands import stop
from service.commands.table import printable, table
from service.store import SqlBooks


def list_(books: SqlBooks, *, organization: str) -> None:
    """Print what, system, code, display and how often; a new row in mappings/ applies to open exams at once."""
    if books.organization(organization) is None:
        raise stop.stop(f"there is no organisation {printable(organization)}")
    with books.view(organization) as view:
        found = view.unmapped()
    if not found:
        print("every code that was sent is known")
        return
    rows = [tuple(printable(str(part)) for part in line) for line in found]
    for line in table(("what", "system", "code", "display", "times"), rows):
        print(line)
