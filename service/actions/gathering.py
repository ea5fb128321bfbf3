"""Everything of one type that hangs on one resource, page after page."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from service.actions.ports import House, View
from service.actions.writing import decoded
from service.basics.query import OLDEST
from service.basics.stored import Stored
from service.fhir import search

Json = dict[str, Any]
PAGE = 500


def stored_of(house: House, view: View, type_: str, **criteria: str) -> Iterator[Stored]:
    """The current versions that match all criteria (parameter names with _ for -), oldest first."""
    pairs = [(name.replace("_", "-"), value) for name, value in criteria.items()]
    query = search.parse(view.organization, type_, pairs, strict=True, base=house.base)
    query = replace(query, count=PAGE, sort=OLDEST, total="none")
    while True:
        page = view.search(query)
        yield from page.matches
        if not page.after:
            return
        query = replace(query, after=page.after)


def all_of(house: House, view: View, type_: str, **criteria: str) -> list[Json]:
    """The same, decoded."""
    return [decoded(one) for one in stored_of(house, view, type_, **criteria)]
