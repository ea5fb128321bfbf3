"""A destination that has just been named into what it says of itself and how it takes a trial."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from service.courier import found
from service.courier.answer import Answer, NoAnswer
from service.courier.capability import Capability, read
from service.courier.lines import Call, Lines

Json = dict[str, Any]
TRIAL = (
    b'{"resourceType":"DiagnosticReport","status":"final","code":{"text":"A trial: validate it and keep nothing"},'
    b'"conclusion":"None."}'
)
EVER = datetime(9999, 12, 31, tzinfo=UTC)
_SMART = ("token_endpoint", "grant_types_supported", "token_endpoint_auth_methods_supported")


@dataclass(frozen=True, slots=True)
class Target:
    """A destination without a post: what a request to it needs."""

    organization: str
    destination: str
    url: str
    authorization: str
    form: str = "transaction"
    settings: str = ""
    id: str = "check"
    token: str = ""
    key: str = ""
    thread: str = ""
    event: str = ""
    body: bytes = b""
    tries: int = 0
    until: datetime = EVER


@dataclass(frozen=True, slots=True)
class Probe:
    """capability: None when it gave none, and `trouble` says why; smart: its smart-configuration, if it has one.

    trial: what its $validate finds wrong with a harmless report, None when it offers none."""

    capability: Capability | None
    trouble: str = ""
    smart: Json | None = None
    trial: tuple[str, ...] | None = None


async def probe(lines: Lines, target: Target) -> Probe:
    """Ask a destination what it can do. Nothing is written there."""
    answer = await _asked(lines, target, "metadata")
    if isinstance(answer, Answer) and not answer.whole:
        answer = await _asked(lines, target, "metadata?_summary=true")
    statement = _resource(answer, "CapabilityStatement")
    smart = await _smart(lines, target)
    if statement is None:
        return Probe(None, _trouble(answer), smart)
    capability = read(statement)
    return Probe(capability, "", smart, await _tried(lines, target, capability))


async def _asked(lines: Lines, target: Target, path: str) -> Answer | NoAnswer:
    return await lines.send(target, Call("GET", path), request="check")


async def _smart(lines: Lines, target: Target) -> Json | None:
    call = Call("GET", ".well-known/smart-configuration", headers={"Accept": "application/json"})
    answer = await lines.send(target, call, request="check")
    if not isinstance(answer, Answer) or answer.status != 200:
        return None
    value = found.json_object(answer)
    return value if value and any(name in value for name in _SMART) else None


async def _tried(lines: Lines, target: Target, capability: Capability) -> tuple[str, ...] | None:
    offered = capability.types.get("DiagnosticReport")
    if "validate" not in capability.operations and (offered is None or "validate" not in offered.operations):
        return None
    answer = await lines.send(target, Call("POST", "DiagnosticReport/$validate", TRIAL), request="check")
    outcome = _resource(answer, "OperationOutcome")
    if outcome is None:
        return (_trouble(answer),)
    wrong = (one for one in outcome.get("issue", []) if one.get("severity") in ("error", "fatal"))
    return tuple(str(one.get("details", {}).get("text") or one.get("diagnostics") or one.get("code")) for one in wrong)


def _resource(answer: Answer | NoAnswer, type_: str) -> Json | None:
    value = found.content(answer) if isinstance(answer, Answer) else None
    return value if value and value["resourceType"] == type_ else None


def _trouble(answer: Answer | NoAnswer) -> str:
    if isinstance(answer, NoAnswer):
        return answer.reason
    size = "" if answer.whole else ", longer than 1 MiB"
    return f"answered {answer.status} with something else{size}"
