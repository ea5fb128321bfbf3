"""What a search brings besides its matches: what they refer to and what refers to them, each once, each permitted."""

from collections.abc import Iterator, Sequence

from service.access import scopes
from service.actions.ports import View
from service.api.ask import Ask
from service.basics.judging import passed
from service.basics.query import NEWEST, Include, Query
from service.basics.stored import Stored
from service.fhir import exact, search

MOST = 1000  # resources that come along on one page
_ROUNDS = 4

Key = tuple[str, str]


def along(ask: Ask, view: View, query: Query, matches: Sequence[Stored]) -> tuple[list[Stored], list[str]]:
    """(resources that come along, what has to be said about those that don't)."""
    known: dict[Key, Stored] = {(one.type, one.id): one for one in matches}
    start, said = len(known), list[str]()
    fresh = list(matches)
    for turn in range(_ROUNDS if any(one.iterate for one in query.includes) else 1):
        wanted = [one for one in query.includes if turn == 0 or one.iterate]
        found = [one for include in wanted for one in _found(ask, view, include, fresh, said)]
        fresh = list({(one.type, one.id): one for one in found if (one.type, one.id) not in known}.values())
        room = MOST - (len(known) - start)
        if len(fresh) > room:
            said.append(f"More than {MOST} resources would come along; the rest was left out.")
            fresh = fresh[:room]
        known |= {(one.type, one.id): one for one in fresh}
        if not fresh:
            break
    return list(known.values())[start:], list(dict.fromkeys(said))


def hidden(ask: Ask, query: Query) -> list[str]:
    """What has to be said about types that a search leads through and the token may not see: nothing is found there."""
    through = {type_ for one in (query, *query.also) for criterion in one.criteria for type_ in passed(criterion)}
    return [
        f"The token may not read {one}: nothing is found through it." for one in sorted(through) if not _sees(ask, one)
    ]


def _found(ask: Ask, view: View, include: Include, fresh: Sequence[Stored], said: list[str]) -> Iterator[Stored]:
    if include.reverse:
        if _permitted(ask, include.type, said):
            yield from _referring(ask, view, include, fresh, said)
        return
    row = search.rows()[include.type][include.code]
    keys = {
        key
        for one in fresh
        if one.type == include.type
        for key in search.links(exact.decode(one.body), row, target=include.target, base=ask.base)
    }
    allowed = sorted(key for key in keys if _permitted(ask, key[0], said))
    yield from (one for one in view.get_many(allowed).values() if not one.deleted)


def _referring(ask: Ask, view: View, include: Include, fresh: Sequence[Stored], said: list[str]) -> Iterator[Stored]:
    references = [f"{one.type}/{one.id}" for one in fresh if include.target in ("", one.type)]
    if references:
        criterion = search.pointing(view.organization, include.type, include.code, references)
        found = view.search(Query(include.type, (criterion,), count=MOST, sort=NEWEST, total="none"))
        if found.after:
            said.append(
                f"More than {MOST} resources of type {include.type} refer to the matches; the rest is left out."
            )
        yield from found.matches


def _permitted(ask: Ask, type_: str, said: list[str]) -> bool:
    """Whether the token may see the type; where not, that is said and nothing of it is shown."""
    if _sees(ask, type_):
        return True
    said.append(f"The token may not read {type_}: none comes along.")
    return False


def _sees(ask: Ask, type_: str) -> bool:
    return scopes.allows(ask.caller.scopes, type_, "s") or scopes.allows(ask.caller.scopes, type_, "r")
