"""Search: parameters into a page of matches and what comes along, with links that say what was understood."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from service.access import scopes
from service.actions.own_terms import OwnTerms
from service.api import bundles, conditions, links, rules, searching
from service.api.answers import Answer
from service.api.ask import PAGE, Ask, content, pairs
from service.api.outcomes import outcome_of
from service.basics.errors import Fault, Invalid, Missing, NotPermitted
from service.basics.query import Criterion, Either, Ids, Query
from service.basics.stored import Stored
from service.fhir import exact
from service.fhir.compartments import ITSELF, compartments
from service.fhir.partial import part
from service.fhir.search import pointing


def search(ask: Ask) -> Answer:
    """One page of the resources that match; raises Invalid for what isn't understood and may not be ignored.

    Of one type, of one type in a compartment (ask.within), or without a type of all that the token may search."""
    query, page = _query(ask)
    if query.count == 0 or query.summary == "count":
        query = replace(query, count=0, summary="count")
    hidden = searching.hidden(ask, query)
    with ask.looking(narrowly=bool(hidden)) as view:
        found = view.search(query)
        coming, said = searching.along(ask, view, query, found.matches)
    after = links.bound(found.after, ask.caller.organization, _path(ask), query.used)
    head: dict[str, object] = {"type": "searchset"} | ({} if found.total is None else {"total": found.total})
    head["link"] = bundles.links(f"{ask.base}{_path(ask)}", query.used, after=after, page=page)
    entries = [*_entries(ask, query, found.matches, mode="match"), *_entries(ask, query, coming, mode="include")]
    seen = tuple(f"{one.type}/{one.id}" for one in (*found.matches, *coming))
    return Answer(200, bundles.joined(head, entries + warnings(query.ignored, hidden + said)), seen=seen)


def _entries(ask: Ask, query: Query, versions: Iterable[Stored], *, mode: str) -> list[bytes]:
    """Finished entries; only the part of each resource that was asked for (_elements means the matches alone)."""
    wanted = query.elements if mode == "match" else ()
    cut = [replace(one, body=part(one.body, summary=query.summary, wanted=wanted)) for one in versions]
    return [bundles.entry(ask.base, one, search={"mode": mode}) for one in cut]


def parameters(ask: Ask) -> tuple[list[tuple[str, str]], str]:
    """The parameters, and where the page begins. A posted search has them in its body and its URL alike."""
    given = list(ask.params) + (content(pairs(_form(ask.body))) if ask.body else [])
    page = replace(ask, params=given).once(PAGE)
    return [(name, value) for name, value in given if name != PAGE], page


def _query(ask: Ask) -> tuple[Query, str]:
    """The query and where its page begins."""
    params, page = parameters(ask)
    strict, terms = conditions.strict(ask.headers), OwnTerms(ask.kit.house, ask.caller)
    query = ask.kit.parse(ask.caller.organization, ask.type, params, strict=strict, base=ask.base, terms=terms)
    _permitted(ask, query)
    after = links.unbound(page, ask.caller.organization, _path(ask), query.used)
    if ask.within:
        query = replace(query, criteria=(_inside(ask), *query.criteria))
    return replace(query, count=min(query.count, ask.kit.limits.page), after=after), page


def _permitted(ask: Ask, query: Query) -> None:
    """A search of many types needs the scope of each of them."""
    if ask.type:
        return
    wanted = [one.type for one in (query, *query.also)]
    denied = [one for one in wanted if not scopes.allows(ask.caller.scopes, one, "s")]
    if denied:
        text = f"The token may not search {', '.join(denied)}: name the types that it may in _type."
        raise NotPermitted(Fault("forbidden", text))


def _path(ask: Ask) -> str:
    return "".join(f"/{one}" for one in (ask.within, ask.type) if one)


def _inside(ask: Ask) -> Criterion:
    """Holds for what belongs to the compartment."""
    holder, _, id_ = ask.within.partition("/")
    if not rules.named(holder, id_)[1]:
        raise Missing(
            Fault("not-found", f"There is no {holder} with that id; an id has letters, digits, - and . only.")
        )
    codes = compartments().get(holder, {}).get(ask.type)
    if not codes:
        raise Missing(Fault("not-supported", f"There is no compartment {holder} that holds a {ask.type}."))
    itself = (Ids((id_,)),) if ITSELF in codes else ()
    named = (pointing(ask.caller.organization, ask.type, code, [ask.within]) for code in codes if code != ITSELF)
    return Either((*itself, *named))


def _form(body: bytes) -> str:
    try:
        return body.decode()
    except UnicodeDecodeError as e:
        raise Invalid(Fault("invalid", "The posted search is not UTF-8.")) from e


def warnings(ignored: Sequence[str], left_out: Sequence[str] = ()) -> list[bytes]:
    """The entry that says which parameters were passed over and what does not come along; none when nothing is."""
    faults = [Fault("not-supported", f"The parameter {name} is not known here and was ignored.") for name in ignored]
    faults += [Fault("incomplete", text) for text in left_out]
    return [said(outcome_of(faults, severity="warning"))] if faults else []


def said(outcome: dict[str, object]) -> bytes:
    """The entry that holds an OperationOutcome about the search itself."""
    return exact.encode({"resource": outcome, "search": {"mode": "outcome"}})
