"""Read and vread: one stored version, as its own bytes."""

from dataclasses import replace

from service.api import answers, conditions
from service.api.answers import Answer
from service.api.ask import Ask
from service.basics.errors import Fault, Gone, Missing
from service.basics.stored import Stored
from service.fhir import partial


def read(ask: Ask) -> Answer:
    """The current version; 304 when the caller holds it already. Raises Missing or Gone."""
    with ask.looking() as view:
        found = view.get(ask.type, ask.id)
    return answer(ask, found, f"There is no {ask.type} with the id {ask.id}.")


def vread(ask: Ask) -> Answer:
    """One version by its number. Raises Missing, or Gone when that version is the deletion."""
    number = int(ask.version) if ask.version.isdecimal() and len(ask.version) < 10 else 0
    found = None
    if number:
        with ask.looking() as view:
            found = view.version(ask.type, ask.id, number)
    return answer(ask, found, f"There is no version {ask.version} of {ask.type}/{ask.id}.")


def answer(ask: Ask, found: Stored | None, missing: str) -> Answer:
    """A version that was looked for; 304 when the caller holds it already. Raises Missing or Gone."""
    found = present(ask, found, missing)
    if ("if-none-match" in ask.headers or "if-modified-since" in ask.headers) and conditions.unchanged(
        ask.headers, found
    ):
        return Answer(304, headers=answers.versioned(found), seen=(f"{found.type}/{found.id}",))
    return answers.stored(_part(ask, found))


def _part(ask: Ask, found: Stored) -> Stored:
    """What _summary and _elements leave of it."""
    summary, elements = ask.once("_summary"), ask.once("_elements")
    if not summary and not elements:
        return found
    params = [(name, value) for name, value in (("_summary", summary), ("_elements", elements)) if value]
    query = ask.kit.parse(ask.caller.organization, found.type, params, strict=True, base=ask.base)
    return replace(found, body=partial.part(found.body, summary=query.summary, wanted=query.elements))


def present(ask: Ask, found: Stored | None, missing: str = "") -> Stored:
    """The version that was looked for; raises Missing (with these words) or Gone."""
    if found is None:
        raise Missing(Fault("not-found", missing or f"There is no {ask.type} with the id {ask.id}."))
    if found.deleted:
        raise Gone(Fault("deleted", f"{ask.type}/{ask.id} was deleted; its history can still be read."))
    return found
