"""`referral list`: the referrals that wait for somebody, and the animals that somebody has to name."""

from typing import Any

from service.actions.gathering import all_of
from service.actions.ports import House
from service.basics.agreement import ANIMAL, REFERRAL
from service.catalogue.catalogue import Catalogue
from service.catalogue.load import Catalogues
from service.commands import stop
from service.commands.table import printable, table
from service.fhir import uris
from service.fhir.reading import referral as reading
from service.store import SqlBooks

Json = dict[str, Any]
WAIT = frozenset({"sent", "received", "withheld"})


def list_(books: SqlBooks, catalogue: Catalogue, organization: str) -> None:
    """Print what waits, the oldest first: which animal is meant, what is to be accepted, what lacks consent."""
    if books.organization(organization) is None:
        raise stop.stop(f"there is no organisation {printable(organization)}")
    house = House(books, Catalogues(catalogue, books.catalogue_text))
    with books.view(organization) as view:
        doubts = all_of(house, view, "Task", code=f"{uris.TASK_CODE}|{ANIMAL}", status="requested")
        found = all_of(house, view, "Task", code=f"{uris.TASK_CODE}|{REFERRAL}")
    waiting = [*doubts, *(one for one in found if reading.state(one) in WAIT)]
    if not waiting:
        print("no referral waits for anybody")
        return
    rows = [_row(one) for one in sorted(waiting, key=lambda task: str(task.get("authoredOn", "")))]
    for line in table(("task", "since", "from", "to", "stands"), rows):
        print(line)


def _row(task: Json) -> tuple[str, ...]:
    words = str(task.get("description") or task.get("businessStatus", {}).get("text", ""))
    sides = (str(task.get(name, {}).get("display", "")) for name in ("requester", "owner"))
    return (f"Task/{task['id']}", str(task.get("authoredOn", "")), *sides, words)
