"""Create, update, patch and delete: one entry through the one action that writes, and its result as an answer."""

from dataclasses import replace
from urllib.parse import urlencode

from service.api import answers, conditions
from service.api.answers import Answer, Header
from service.api.ask import Ask
from service.api.outcomes import outcome_of
from service.basics.entries import Entry, Result
from service.basics.errors import Fault, Invalid
from service.fhir import exact, patching


def create(ask: Ask) -> Answer:
    """A new resource with an id of ours; with If-None-Exist an existing one is 200 and the body is ignored.

    Some clients put that condition behind "?": passed over there, it would make a second one of what exists."""
    exist = conditions.if_none_exist(ask.headers)
    if ask.params and exist is not None:
        raise Invalid(Fault("invalid", "The condition of a create is given once: in If-None-Exist."))
    exist = urlencode(ask.params) if ask.params else exist
    return _write(ask, Entry("POST", ask.type, resource=_body(ask), if_none_exist=exist))


def update(ask: Ask) -> Answer:
    """The next version of a resource, by its id or by criteria that find at most one."""
    resource = _body(ask)
    if ask.id and resource.get("id") != ask.id:
        raise Invalid(Fault("invalid", f"The id in the body must be the one in the URL: {ask.id}.", f"{ask.type}.id"))
    match = conditions.if_match(ask.headers)
    unless = ask.headers.get("if-none-match", "")
    entry = Entry("PUT", ask.type, ask.id, criteria=_criteria(ask), resource=resource, if_match=match)
    return _write(ask, replace(entry, if_none_match=unless))


def patch(ask: Ask) -> Answer:
    """The next version of a resource by a JSON Patch of the current one, checked as an update is."""
    changes = tuple(patching.operations(exact.decode(ask.body)))
    match = conditions.if_match(ask.headers)
    return _write(ask, Entry("PATCH", ask.type, ask.id, criteria=_criteria(ask), patch=changes, if_match=match))


def delete(ask: Ask) -> Answer:
    """204, whether it was there or not; its history stays. Raises Conflict while anything refers to it."""
    match = conditions.if_match(ask.headers)
    answer = _write(ask, Entry("DELETE", ask.type, ask.id, criteria=_criteria(ask), if_match=match))
    return replace(answer, status=200) if answer.body else answer


def _located(ask: Ask, result: Result) -> tuple[Header, ...]:
    """Location, ETag and Last-Modified of what a write left or found."""
    if result.stored is None:
        return ()
    if result.stored.deleted:
        return answers.versioned(result.stored)
    return (*answers.versioned(result.stored), (b"location", answers.location(ask.base, result.stored).encode()))


def _write(ask: Ask, entry: Entry) -> Answer:
    result = ask.kit.transact(ask.kit.house, ask.caller, [entry], bundle_type="transaction")[0]
    if result.refusal is not None:
        raise result.refusal
    wish = conditions.returns(ask.headers) or "representation"
    body = b"" if result.stored is None or wish == "minimal" else result.stored.body
    if wish == "OperationOutcome" and result.stored is not None:
        done = "deleted" if result.stored.deleted else "stored"
        said = Fault("informational", f"{ask.type}/{result.stored.id} is {done} as version {result.stored.version}.")
        body = exact.encode(outcome_of([said], severity="information"))
    return Answer(result.status, body, _located(ask, result))


def _body(ask: Ask) -> dict[str, object]:
    resource = ask.resource()
    if resource["resourceType"] != ask.type:
        text = f"The body is a {resource['resourceType']}, but it was sent to {ask.type}."
        raise Invalid(Fault("invalid", text, "resourceType"))
    return resource


def _criteria(ask: Ask) -> str:
    """What is behind "?" when the URL has no id; raises Invalid when that is nothing: it would mean everything."""
    if ask.id:
        return ""
    if not ask.params:
        raise Invalid(Fault("required", f"Name one: {ask.type}/<id>, or {ask.type}?identifier=<system>|<value>."))
    return urlencode(ask.params)
