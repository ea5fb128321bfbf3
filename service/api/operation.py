"""Operations: what FHIR has no resource for. Each exam operation is one action; $validate only looks."""

from collections.abc import Callable
from typing import Any

from service.access import scopes
from service.api import answers
from service.api.answers import Answer
from service.api.ask import Ask
from service.api.outcomes import outcome_of
from service.basics.errors import Fault, Invalid, NotPermitted
from service.fhir.reading import parameters

Json = dict[str, Any]


def exam(name: str) -> Callable[[Ask], Answer]:
    """The interaction that hands the posted Parameters to the action of this name."""

    def run(ask: Ask) -> Answer:
        given = ask.resource() if ask.body.strip() else {"resourceType": "Parameters"}
        if given["resourceType"] != "Parameters":
            raise Invalid(Fault("invalid", f"${name} takes a Parameters resource.", "resourceType"))
        faults = ask.kit.check(given)
        if faults:
            raise Invalid(*faults)
        return _answer(ask.kit.operations[name](ask.kit.house, ask.caller, ask.id, given))

    return run


def validate(ask: Ask) -> Answer:
    """Everything wrong with the posted resource as an OperationOutcome; 200 either way, and nothing is stored."""
    if not scopes.touches(ask.caller.scopes, ask.type):
        raise NotPermitted(Fault("forbidden", f"The token grants nothing on {ask.type}."))
    resource = _to_check(ask)
    faults = ask.kit.check(resource, type_=ask.type)
    if not faults and ask.caller.kind != "records":
        faults = ask.kit.profile(resource)
    if faults:
        return answers.resource(outcome_of(faults))
    return answers.resource(outcome_of([Fault("informational", "Nothing is wrong with it.")], severity="information"))


def _to_check(ask: Ask) -> Json:
    given = ask.resource()
    if given["resourceType"] != "Parameters":
        return given
    held = [one for one in parameters.named(given, "resource") if isinstance(one, dict)]
    if len(held) != 1:
        raise Invalid(Fault("required", "Parameters needs one parameter named resource.", "Parameters.parameter"))
    return held[0]


def _answer(value: Json) -> Answer:
    version = str(value.get("meta", {}).get("versionId", ""))
    headers = ((b"etag", answers.etag(int(version)).encode()),) if version.isdecimal() else ()
    return answers.resource(value, headers=headers)
