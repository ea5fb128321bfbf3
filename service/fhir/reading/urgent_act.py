"""The Parameters of the operations on urgent findings into what they ask for, with all that is wrong with them."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from service.basics.errors import Fault, Invalid
from service.exam import moments
from service.exam.urgent_state import METHODS
from service.fhir.reading.parameters import named, parts, text

Json = dict[str, Any]
DECISIONS = ("confirmed", "declined")
DECIDE = ("finding", "decision", "by", "reason", "tier", "words", "recipient")
ATTEMPT = ("by", "to", "method", "at", "outcome", "escalatedTo")
PEOPLE = ("Practitioner", "PractitionerRole", "Organization", "RelatedPerson")
ACKNOWLEDGE = ("by", "to", "method", "at", "received", "readBack", "detail")


@dataclass(frozen=True, slots=True)
class Decision:
    """A person confirms or declines; recipient is (reference, display) of whoever is responsible, tier 0 unless
    chosen."""

    decision: str
    by: str
    finding: str = ""
    reason: str = ""
    words: str = ""
    tier: int = 0
    recipient: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True)
class Telling:
    """One try to tell somebody, or that it was received; texts are "" when not given."""

    by: str
    to: str
    method: str
    at: str = ""
    outcome: str = ""
    escalated_to: tuple[str, str] = ("", "")  # reference, name
    received: str = ""
    read_back: bool | None = None
    detail: str = ""


def read_decision(parameters: Json) -> Decision:
    """What is decided; confirmed when it is not said. Raises Invalid with every fault."""
    decision = text(parameters, "decision") or "confirmed"
    faults = [*_unknown(parameters, DECIDE), *_needed(parameters, {"by": "who decides"})]
    if decision not in DECISIONS:
        faults.append(Fault("value", "decision is confirmed or declined.", where("decision")))
    if decision == "declined" and not text(parameters, "reason"):
        faults.append(Fault("required", "Say why it is declined, in `reason`.", where("reason")))
    tier = next(iter(named(parameters, "tier")), 0)
    if isinstance(tier, bool) or not isinstance(tier, int) or not 0 <= tier <= 3:
        faults.append(Fault("value", "tier is 1, 2 or 3.", where("tier")))
    faults += _people(parameters, "recipient")
    if faults:
        raise Invalid(*faults)
    return Decision(
        decision=decision,
        by=text(parameters, "by"),
        finding=text(parameters, "finding"),
        reason=text(parameters, "reason"),
        words=text(parameters, "words"),
        tier=tier,
        recipient=_party(parameters, "recipient"),
    )


def read_attempt(parameters: Json) -> Telling:
    """A try to reach somebody, with the time at which it was made. Raises Invalid with every fault."""
    wanted = {"by": "who tried", "to": "who was tried", "method": "how", "at": "when (an instant with its zone)"}
    faults = [*_unknown(parameters, ATTEMPT), *_needed(parameters, wanted), *_said(parameters)]
    faults += _people(parameters, "escalatedTo")
    if faults:
        raise Invalid(*faults)
    return Telling(
        by=text(parameters, "by"),
        to=_name(parameters, "to"),
        method=text(parameters, "method"),
        at=text(parameters, "at"),
        outcome=text(parameters, "outcome"),
        escalated_to=_party(parameters, "escalatedTo"),
    )


def read_receipt(parameters: Json) -> Telling:
    """That somebody was told and has received it. Raises Invalid with every fault."""
    wanted = {"by": "who told it", "to": "who received it, by name", "method": "how"}
    faults = [*_unknown(parameters, ACKNOWLEDGE), *_needed(parameters, wanted), *_said(parameters)]
    read_back = next(iter(named(parameters, "readBack")), None)
    if read_back is not None and not isinstance(read_back, bool):
        faults.append(Fault("value", "readBack is true or false.", where("readBack")))
    if faults:
        raise Invalid(*faults)
    return Telling(
        by=text(parameters, "by"),
        to=_name(parameters, "to"),
        method=text(parameters, "method"),
        at=text(parameters, "at"),
        received=text(parameters, "received"),
        read_back=read_back,
        detail=text(parameters, "detail"),
    )


def where(name: str) -> str:
    """The place of a parameter, for faults."""
    return f"Parameters.parameter.where(name='{name}')"


def _unknown(parameters: Json, known: Iterable[str]) -> Iterator[Fault]:
    names = [name for name, _ in parts(parameters)]
    for name in dict.fromkeys(names):
        if name not in known:
            yield Fault("not-supported", f'There is no parameter "{name}"; known: {", ".join(known)}.', where(name))
        elif names.count(name) > 1:
            yield Fault("structure", f"{name} is given more than once.", where(name))


def _needed(parameters: Json, wanted: Mapping[str, str]) -> Iterator[Fault]:
    for name, words in wanted.items():
        if not text(parameters, name):
            yield Fault("required", f"Say {words}, in `{name}`.", where(name))


def _said(parameters: Json) -> Iterator[Fault]:
    method = text(parameters, "method")
    if method and method not in METHODS:
        yield Fault("value", f"method is one of {', '.join(METHODS)}.", where("method"))
    for name in ("at", "received"):
        given = text(parameters, name)
        if given and moments.instant(given) is None:
            yield Fault("value", f"{name} is a date and time with its zone.", where(name))


def _people(parameters: Json, name: str) -> Iterator[Fault]:
    reference, display = _party(parameters, name)
    if reference and reference.partition("/")[0] not in PEOPLE:
        text_ = f"{name} names a person or an organisation: a reference to {', '.join(PEOPLE)}, or a display."
        yield Fault("value", text_, where(name))
    elif named(parameters, name) and not reference and not display:
        yield Fault("required", f"{name} names nobody.", where(name))


def _name(parameters: Json, name: str) -> str:
    reference, display = _party(parameters, name)
    return display or reference


def _party(parameters: Json, name: str) -> tuple[str, str]:
    given = next(iter(named(parameters, name)), None)
    if isinstance(given, dict):
        return str(given.get("reference", "")), str(given.get("display", ""))
    return "", str(given or "").strip()
