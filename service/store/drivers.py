"""The criteria of a search -> the one that a statement best begins with, because few rows meet it."""

from service.basics.query import Criterion, Ids
from service.store.criteria import candidates, complete
from service.store.page import Look
from service.store.sql import Sql

FEW = 1000  # up to so many candidates are fetched and sorted; above, the type is walked in order of time
_WHOLE = Sql("resource r WHERE r.organization = ?")


def driven(look: Look, criteria: tuple[Criterion, ...]) -> tuple[Sql, list[Criterion]]:
    """(FROM ... WHERE of `resource r`, the criteria that are still to be checked)."""
    found = _driver(look, criteria)
    if found is None:
        return _WHOLE, list(criteria)
    criterion, listing = found
    rest = [one for one in criteria if one is not criterion or not complete(one)]
    # CROSS JOIN keeps SQLite from turning the order of the two around
    first = f"(SELECT DISTINCT row FROM ({listing.text}) c) d"
    return Sql(f"{first} CROSS JOIN resource r WHERE d.row = r.row AND r.organization = ?", listing.params), rest


def is_walk(start: Sql) -> bool:
    """Whether no criterion was met by few: the whole type is walked."""
    return start is _WHOLE


def _driver(look: Look, criteria: tuple[Criterion, ...]) -> tuple[Criterion, Sql] | None:
    """The criterion with the fewest candidates and how to list them; None when all have many."""
    if any(isinstance(one, Ids) for one in criteria):
        return None  # ids are found through the key of the table itself
    best: tuple[int, Criterion, Sql] | None = None
    for criterion in criteria:
        listing = candidates(criterion)
        if listing is None:
            continue
        limit = best[0] if best else FEW + 1
        counted = _counted(look, listing, limit)
        if counted < limit:
            best = (counted, criterion, listing)
    return best[1:] if best else None


def _counted(look: Look, listing: Sql, limit: int) -> int:
    found = look.marks(f"SELECT count(*) FROM (SELECT 1 FROM ({listing.text}) a LIMIT ?) b", *listing.params, limit)
    return int(found[0][0])
