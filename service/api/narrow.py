"""A view into one that shows no more than a token's scopes do, where search parameters limit them (SMART 2)."""

from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import replace
from functools import lru_cache
from typing import Any

from service.access import scopes
from service.access.scopes import Limit
from service.actions.ports import Caller, View
from service.basics.errors import Invalid
from service.basics.judging import Version, fits_all
from service.basics.query import Backward, Both, Criterion, Either, Forward, Ids, Not, Page, Query, Span
from service.basics.stored import Keys, Stored
from service.fhir import exact, search

Key = tuple[str, str]
_NOTHING = Either(())


@contextmanager
def through(opened: AbstractContextManager[View], caller: Caller) -> Iterator[View]:
    """What a caller with limited scopes sees through a view."""
    with opened as view:
        narrow: Any = Narrow(view, caller)  # it has what reading takes, and nothing else of a view
        yield narrow


class Narrow:
    """A view's reading half: what the scopes don't show is not there, also where a search leads through it."""

    def __init__(self, view: View, caller: Caller) -> None:
        self.organization = view.organization
        self._view, self._scopes = view, caller.scopes

    def get(self, type_: str, id_: str) -> Stored | None:
        """The current version, if the scopes let it be read."""
        return next(iter(self._seen([self._view.get(type_, id_)], "r")), None)

    def get_many(self, keys: Iterable[Key]) -> dict[Key, Stored]:
        """The current versions of those that exist and may be seen."""
        return {(one.type, one.id): one for one in self._seen(self._view.get_many(keys).values(), "rs")}

    def version(self, type_: str, id_: str, version: int) -> Stored | None:
        """One version, if both it and the current one may be read."""
        found = self._view.version(type_, id_, version)
        return found if found is not None and self.get(type_, id_) is not None and self._was(found) else None

    def history(
        self,
        type_: str = "",
        id_: str = "",
        *,
        since: str = "",
        at: Span = (None, None),
        count: int = 50,
        after: str = "",
    ) -> Page:
        """The versions of one resource that may be read; of a limited type there is no history."""
        page = self._view.history(type_, id_, since=since, at=at, count=count, after=after)
        if scopes.limits(self._scopes, type_ or "*", "r") is None or (not id_ and type_):
            return page
        if self.get(type_, id_) is None:
            return Page((), 0)
        return Page(tuple(one for one in page.matches if self._was(one)), None, page.after)

    def search(self, query: Query) -> Page:
        """What matches and may be seen."""
        return self._view.search(self._within(query))

    def _within(self, query: Query) -> Query:
        letter = "s" if scopes.allows(self._scopes, query.type, "s") else "r"
        criteria = (*map(self._inside, query.criteria), *self._limit(query.type, letter))
        return replace(query, criteria=criteria, also=tuple(self._within(one) for one in query.also))

    def _inside(self, criterion: Criterion) -> Criterion:
        """The criterion, leading only through what may be seen."""
        match criterion:
            case Not(of=of):
                return Not(self._inside(of))
            case Either(of=several):
                return Either(tuple(map(self._inside, several)))
            case Both(of=several):
                return Both(tuple(map(self._inside, several)))
            case Forward(type=type_, criteria=inner) | Backward(type=type_, criteria=inner):
                return replace(criterion, criteria=(*map(self._inside, inner), *self._limit(type_, "rs")))
            case _:
                return criterion

    def _limit(self, type_: str, letters: str) -> tuple[Criterion, ...]:
        held = scopes.limits(self._scopes, type_, letters)
        if held is None:
            return ()
        return (Either(tuple(_criterion(self.organization, type_, one) for one in held)),)

    def _seen(self, found: Iterable[Stored | None], letters: str) -> list[Stored]:
        """Those of them that may be seen now, asked of the store, which follows references."""
        kept = [one for one in found if one is not None]
        limits = {type_: self._limit(type_, letters) for type_ in {one.type for one in kept}}
        seen: set[Key] = set()
        for type_, limit in limits.items():
            ids = tuple(one.id for one in kept if one.type == type_ and not one.deleted)
            if limit and ids:
                page = self._view.search(Query(type_, (Ids(ids), *limit), count=len(ids), total="none"))
                seen |= {(one.type, one.id) for one in page.matches}
        return [one for one in kept if not limits[one.type] or (one.type, one.id) in seen]

    def _was(self, version: Stored) -> bool:
        """Whether a version itself fits; what leads through other resources is asked of the current one."""
        if version.deleted:
            return False
        limit = self._limit(version.type, "r")
        keys = search.keys(self.organization, exact.decode(version.body)) if limit else Keys(frozenset(), frozenset())
        return fits_all(Version(version.id, 0, keys, version.body), map(_alone, limit))


@lru_cache(maxsize=1024)
def _criterion(organization: str, type_: str, limit: Limit) -> Criterion:
    """What a limit asks; nothing fits one that can't be understood, or of which a part asks nothing."""
    try:
        asked = search.parse(organization, type_, limit, strict=True).criteria
    except Invalid:
        return _NOTHING
    return Both(asked) if len(asked) == len(limit) else _NOTHING


def _alone(criterion: Criterion) -> Criterion:
    """The criterion without what leads through other resources."""
    match criterion:
        case Either(of=several):
            return Either(tuple(map(_alone, several)))
        case Both(of=several):
            return Both(tuple(_alone(one) for one in several if not isinstance(one, Forward | Backward)))
        case _:
            return criterion
