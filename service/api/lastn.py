"""Observation/$lastn: search parameters into the latest Observations of each code."""

from service.actions.lastn import latest
from service.actions.own_terms import OwnTerms
from service.api import bundles, conditions
from service.api import search as searching
from service.api import searching as including
from service.api.answers import Answer
from service.api.ask import Ask
from service.api.inputs import inputs
from service.basics.errors import Fault, Invalid

_WHOSE = frozenset({"patient", "subject"})
_OURS = frozenset({"max", "_count", "_sort", "_summary", "_total", "_elements"})


def lastn(ask: Ask) -> Answer:
    """All that is found on one page. Raises Invalid without patient or subject."""
    given = inputs(ask)
    names = {name.partition(":")[0].partition(".")[0] for name, _ in given.used}
    if not names & _WHOSE:
        raise Invalid(Fault("required", "$lastn needs the parameter patient or subject."))
    most = given.number("max", 1, most=ask.kit.limits.page)
    params = [(name, value) for name, value in given.used if name not in _OURS]
    strict, terms = conditions.strict(ask.headers), OwnTerms(ask.kit.house, ask.caller)
    query = ask.kit.parse(ask.caller.organization, ask.type, params, strict=strict, base=ask.base, terms=terms)
    hidden = including.hidden(ask, query)
    with ask.looking(narrowly=bool(hidden)) as view:
        found = latest(view, query, most=most)
    used = [*query.used, *((name, value) for name, value in given.used if name == "max")]
    links = bundles.links(f"{ask.base}/{ask.type}/$lastn", used, after="")[:1]
    head = {"type": "searchset", "total": len(found), "link": links}
    entries = [bundles.match(ask.base, one) for one in found] + searching.warnings(query.ignored, hidden)
    return Answer(200, bundles.joined(head, entries), seen=tuple(f"{one.type}/{one.id}" for one in found))
