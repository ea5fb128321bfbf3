"""Search: parameters into a page of matches, with links that say what was understood."""

from collections.abc import Sequence
from dataclasses import replace

from service.api import bundles, conditions
from service.api.answers import Answer
from service.api.ask import PAGE, Ask, content, pairs
from service.api.outcomes import outcome_of
from service.basics.errors import Fault, Invalid
from service.basics.query import Query
from service.fhir import exact


def search(ask: Ask) -> Answer:
    """One page of the type's resources that match; raises Invalid for what isn't understood and may not be ignored."""
    query, page = _query(ask)
    if query.count == 0 or query.summary == "count":
        query = replace(query, count=0, summary="count", total=True)
    with ask.kit.books.view(ask.caller.organization) as view:
        found = view.search(query)
    after = "" if query.summary == "count" else found.after
    head: dict[str, object] = {"type": "searchset"} | ({} if found.total is None else {"total": found.total})
    head["link"] = bundles.links(f"{ask.base}/{ask.type}", query.used, after=after, page=page)
    matches = () if query.summary == "count" else found.matches
    entries = [bundles.match(ask.base, version) for version in matches] + warnings(query.ignored)
    return Answer(200, bundles.joined(head, entries), seen=tuple(f"{v.type}/{v.id}" for v in matches))


def parameters(ask: Ask) -> tuple[list[tuple[str, str]], str]:
    """The parameters, and where the page begins. A posted search has them in its body and its URL alike."""
    given = list(ask.params) + (content(pairs(_form(ask.body))) if ask.body else [])
    page = replace(ask, params=given).once(PAGE)
    return [(name, value) for name, value in given if name != PAGE], page


def _query(ask: Ask) -> tuple[Query, str]:
    """The query and where its page begins."""
    params, page = parameters(ask)
    query = ask.kit.parse(
        ask.caller.organization, ask.type, params, strict=conditions.strict(ask.headers), base=ask.base
    )
    return replace(query, count=min(query.count, ask.kit.limits.page), after=page), page


def _form(body: bytes) -> str:
    try:
        return body.decode()
    except UnicodeDecodeError as e:
        raise Invalid(Fault("invalid", "The posted search is not UTF-8.")) from e


def warnings(ignored: Sequence[str]) -> list[bytes]:
    """The entry that says which parameters were passed over; none when none was."""
    faults = [Fault("not-supported", f"The parameter {name} is not known here and was ignored.") for name in ignored]
    return [said(outcome_of(faults, severity="warning"))] if faults else []


def said(outcome: dict[str, object]) -> bytes:
    """The entry that holds an OperationOutcome about the search itself."""
    return exact.encode({"resource": outcome, "search": {"mode": "outcome"}})
