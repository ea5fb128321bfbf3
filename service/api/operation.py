"""Operations: what FHIR has no resource for. Each exam operation is one action; $validate only looks."""

from collections.abc import Callable
from typing import Any

from service.access import scopes
from service.api import answers
from service.api.answers import Answer
from service.api.ask import Ask
from service.api.inputs import posted, posted_to
from service.api.outcomes import outcome_of
from service.basics.errors import Fault, Invalid, NotPermitted
from service.fhir.operations import CHECK, EXAM
from service.fhir.reading import parameters
from service.fhir.validate import opinion

Json = dict[str, Any]
_DECLARED = {one.name: one for one in (*EXAM, CHECK)}
_NAMING = frozenset({"settle", "urgent", "urgent-attempt", "urgent-acknowledge"})  # tell it with all else that is wrong
_UNHELD = frozenset({"delete", "profile"})  # modes that need no resource


def exam(name: str) -> Callable[[Ask], Answer]:
    """The interaction that hands the posted Parameters to the action of this name, when it takes all of them."""
    declared = _DECLARED[name]

    def run(ask: Ask) -> Answer:
        given = posted(ask) if name in _NAMING else posted_to(ask, declared)
        return _answer(ask.kit.operations[name](ask.kit.house, ask.caller, ask.id, given))

    return run


def validate(ask: Ask) -> Answer:
    """Everything that can be said of a resource as an OperationOutcome; 200 either way, and nothing is stored.

    Raises Invalid when there is nothing to look at."""
    if not scopes.touches(ask.caller.scopes, ask.type):
        raise NotPermitted(Fault("forbidden", f"The token grants nothing on {ask.type}."))
    given = ask.resource()
    asked = given if given["resourceType"] == "Parameters" else {"parameter": [{"name": "resource", "resource": given}]}
    mode = ask.once("mode") or parameters.text(asked, "mode")
    remarks = opinion(
        _to_check(asked, mode=mode),
        type_=ask.type,
        id_=ask.id,
        mode=mode,
        asked=[value for name, value in ask.params if name == "profile"]
        + [str(one) for one in parameters.named(asked, "profile")],
        practice=ask.caller.kind != "records",
    )
    issues = [issue for severity, fault in remarks for issue in outcome_of([fault], severity=severity)["issue"]]
    return answers.resource({"resourceType": "OperationOutcome", "issue": issues})


def _to_check(asked: Json, *, mode: str) -> Json | None:
    held = [one for one in parameters.named(asked, "resource") if isinstance(one, dict)]
    if len(held) == 1:
        return dict(held[0])
    if held or mode not in _UNHELD:
        raise Invalid(Fault("required", "Parameters needs one parameter named resource.", "Parameters.parameter"))
    return None


def _answer(value: Json) -> Answer:
    version = str(value.get("meta", {}).get("versionId", ""))
    headers = ((b"etag", answers.etag(int(version)).encode()),) if version.isdecimal() else ()
    return answers.resource(value, headers=headers)
