"""Patient/[id]/$everything: parameters into a page of the animal's record."""

from service.access import scopes
from service.actions import everything as action
from service.api import bundles, history
from service.api import search as searching
from service.api.answers import Answer
from service.api.ask import PAGE, Ask
from service.api.inputs import Inputs, inputs
from service.api.outcomes import outcome_of
from service.api.read import present
from service.api.types import KNOWN
from service.basics.errors import Fault, Invalid, NotPermitted
from service.fhir import moments

_KNOWN = frozenset({"start", "end", "_since", "_type", "_count", PAGE})


def everything(ask: Ask) -> Answer:
    """One page. Raises Missing or Gone, Invalid, and NotPermitted when a type is asked for by name that may not be."""
    given = inputs(ask, _KNOWN)
    wanted = _wanted(ask, given)
    with ask.looking() as view:
        present(ask, view.get("Patient", ask.id))
        found = action.everything(ask.kit.house, view, ask.id, wanted)
    used = [(name, value) for name, value in given.used if name != PAGE]
    links = bundles.links(f"{ask.base}/Patient/{ask.id}/$everything", used, after=found.after, page=wanted.after)
    entries = [bundles.match(ask.base, one) for one in found.matches]
    entries += [bundles.entry(ask.base, one, search={"mode": "include"}) for one in found.named]
    entries += searching.warnings(given.ignored) + _left_out(wanted)
    seen = tuple(f"{one.type}/{one.id}" for one in (*found.matches, *found.named))
    return Answer(200, bundles.joined({"type": "searchset", "link": links}, entries), seen=seen)


def _wanted(ask: Ask, given: Inputs) -> action.Wanted:
    types = frozenset(given.every("_type"))
    granted = ask.caller.scopes
    faults = [Fault("code-invalid", f"There is no type {one} here.", "_type") for one in sorted(types - KNOWN)]
    if faults:
        raise Invalid(*faults)
    hidden = sorted(one for one in types if not scopes.allows(granted, one, "r"))
    if hidden:
        raise NotPermitted(*(Fault("forbidden", f"The token lacks the scope system/{one}.r.") for one in hidden))
    start, end = _day(given, "start"), _day(given, "end")
    if start and end and start[0] > end[1]:
        raise Invalid(Fault("value", "start is after end.", "start"))
    return action.Wanted(
        may=lambda type_: scopes.allows(granted, type_, "r"),
        types=types,
        since=history.since(given.once("_since")),
        start=start[0] if start else moments.EARLIEST,
        end=end[1] if end else moments.LATEST,
        count=given.number("_count", 50, most=ask.kit.limits.page),
        after=given.once(PAGE),
    )


def _day(given: Inputs, name: str) -> moments.Range | None:
    text = given.once(name)
    found = moments.of_text(text) if text else None
    if text and found is None:
        raise Invalid(Fault("value", f"{name} must be a date such as 2026-11-25.", name))
    return found


def _left_out(wanted: action.Wanted) -> list[bytes]:
    """The entry that says which types the token can't see; none when it sees all."""
    hidden = sorted(one for one in wanted.types or action.types() if not wanted.may(one))
    if not hidden:
        return []
    text = f"The token lacks the scope to read {', '.join(hidden)}: what there may be of it is left out."
    return [searching.said(outcome_of([Fault("suppressed", text)], severity="warning"))]
