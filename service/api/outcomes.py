"""A refusal into its HTTP status and an OperationOutcome; the one place that knows both."""

from typing import Any

from service.api.answers import Answer, Header
from service.basics import errors
from service.basics.errors import Fault, Refusal
from service.fhir import exact, patching

Json = dict[str, Any]


class TooSlow(Refusal):
    """The body did not arrive in time."""


# class -> (HTTP status, issue code when the refusal names no fault); a subclass inherits its parent's row
STATUS: dict[type[Refusal], tuple[int, str]] = {
    errors.Invalid: (400, "invalid"),
    errors.RuleBroken: (422, "business-rule"),
    errors.Conflict: (409, "conflict"),
    errors.Stale: (412, "conflict"),
    errors.ConditionRequired: (428, "required"),
    errors.Missing: (404, "not-found"),
    errors.Gone: (410, "deleted"),
    errors.NotAllowed: (405, "not-supported"),
    errors.NotPermitted: (403, "forbidden"),
    errors.Unrecognised: (401, "login"),
    errors.TooLarge: (413, "too-long"),
    errors.WrongMedia: (415, "not-supported"),
    errors.NotAcceptable: (406, "not-supported"),
    errors.Busy: (503, "transient"),
    errors.Full: (507, "no-store"),
    TooSlow: (408, "timeout"),
    Refusal: (400, "processing"),
}
_EXTRA: dict[int, tuple[Header, ...]] = {
    401: ((b"www-authenticate", b'Bearer realm="sonoledger"'),),
    408: ((b"connection", b"close"),),
    413: ((b"connection", b"close"),),
    415: (
        (b"accept-post", b"application/fhir+json, application/json"),
        (b"accept-patch", patching.MEDIA.encode()),
    ),
}


def status(refusal: Refusal) -> tuple[int, str]:
    """(HTTP status, default issue code) of a refusal."""
    return next(STATUS[kind] for kind in type(refusal).__mro__ if kind in STATUS)


def outcome(refusal: Refusal) -> Json:
    """The OperationOutcome that names every fault of a refusal."""
    reason = status(refusal)[1]
    return outcome_of(refusal.faults or (Fault(reason, refusal.__doc__ or "Refused."),))


def outcome_of(faults: tuple[Fault, ...] | list[Fault], *, severity: str = "error") -> Json:
    """An OperationOutcome with one issue per fault, each of the same severity."""
    return {"resourceType": "OperationOutcome", "issue": [_issue(fault, severity) for fault in faults]}


def refused(refusal: Refusal, *, allow: str | None = None) -> Answer:
    """The answer to a refusal. allow lists the methods offered, for 405; it may be that there are none ("")."""
    code, _ = status(refusal)
    headers = _EXTRA.get(code, ())
    if code == 405 and allow is not None:
        headers += ((b"allow", allow.encode()),)
    if refusal.retry_after is not None:  # without it the outcome is unknown, so that repeating needs a look first
        headers += ((b"retry-after", str(refusal.retry_after).encode()),)
    return Answer(code, exact.encode(outcome(refusal)), headers)


def broken(request: str) -> Answer:
    """The answer when the fault is ours: the request's id and nothing else."""
    text = (
        f"Something went wrong here. Before repeating a change, look whether it was made. This was request {request}."
    )
    return Answer(500, exact.encode(outcome_of([Fault("exception", text)])))


def _issue(fault: Fault, severity: str) -> Json:
    issue: Json = {
        "severity": severity,
        "code": fault.reason,
        "details": {"text": fault.text},
        "diagnostics": f"{fault.where}: {fault.text}" if fault.where else fault.text,
    }
    return issue | {"expression": [fault.where]} if fault.where else issue
