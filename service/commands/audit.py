"""`audit list`: who looked at or changed what, also at anything of one animal's record, the newest first."""

from datetime import date

from service.actions.animal_log import animals_of, record_of
from service.actions.ports import House
from service.basics.query import AuditQuery
from service.basics.stored import Trace
from service.catalogue.catalogue import Catalogue
from service.catalogue.load import Catalogues
from service.commands import stop
from service.commands.table import printable, table
from service.fhir import exact, moments
from service.fhir.writing.audit import audit_event
from service.store import SqlBooks

_PAGE = 500
_OUTCOMES = {"0": "done", "4": "refused", "8": "failed"}


def list_(
    books: SqlBooks,
    catalogue: Catalogue,
    *,
    organization: str,
    animal: str = "",
    since: str = "",
    limit: int = 100,
    as_json: bool = False,
) -> None:
    """Print at most `limit` lines of an organisation's audit; without one, of those who were turned away at the door.

    animal: the id of a Patient, to see only what touched its record; since: a day."""
    if organization and books.organization(organization) is None:
        raise stop.stop(f"there is no organisation {printable(organization)}")
    house = House(books, Catalogues(catalogue, books.catalogue_text))
    with books.view(organization) as view:
        touching = (record_of(house, view, animal),) if animal else ()
    found = _lines(books, organization, AuditQuery(spans=_from(since), touching=touching), limit=limit)
    if as_json:
        with books.view(organization) as view:
            animals = animals_of(house, view, found)
        for one in found:
            whose = animals.get(one.id, ())
            print(exact.encode(audit_event(one, organization=organization, base=house.base, animals=whose)).decode())
        return
    head = ("when", "who", "did", "outcome", "what", "request")
    for line in table(head, [(one.recorded, one.client, _did(one), *_ended(one), one.request) for one in found]):
        print(line)


def _lines(books: SqlBooks, organization: str, wanted: AuditQuery, *, limit: int) -> list[Trace]:
    found: list[Trace] = []
    after = ""
    with books.view(organization) as view:
        while len(found) < limit:
            page, after = view.traces(wanted, count=min(limit - len(found), _PAGE), after=after)
            found += page
            if not after:
                break
    return found


def _from(since: str) -> tuple[tuple[tuple[int | None, int | None], ...], ...]:
    if not since:
        return ()
    try:
        stretch = moments.of_text(date.fromisoformat(since).isoformat())
    except ValueError:
        stretch = None
    if stretch is None:
        raise stop.stop("--since takes a day such as 2026-11-25")
    return (((stretch[0], None),),)


def _did(one: Trace) -> str:
    return f"${one.operation}" if one.operation else one.interaction


def _ended(one: Trace) -> tuple[str, str]:
    named = (f"{one.type}/{one.id_of}" if one.id_of else one.type,) if one.type else ()
    told = list(dict.fromkeys((*named, *one.entities)))
    rest = f" and {len(told) - 3} more" if len(told) > 3 else ""
    return _OUTCOMES.get(one.outcome, one.outcome), " ".join(told[:3]) + rest
