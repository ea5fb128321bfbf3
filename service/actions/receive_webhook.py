"""A signed webhook of a record system into what it tells: that a post arrived, or that an invoice was paid."""

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from hashlib import sha256
from typing import Any

from service.actions import tracing
from service.actions.gathering import stored_of
from service.actions.ports import Caller, House, Work
from service.actions.writing import decoded, write
from service.basics.errors import Conflict, Fault, Invalid, Missing
from service.fhir import exact, uris

Json = dict[str, Any]
LONGEST = 200  # characters of a key or number
_PLAIN = re.compile(r"[A-Za-z0-9:/_.\-]{1,200}")  # nothing that a search would read as more than a value


def receive(house: House, caller: Caller, sender: str, id_: str, body: bytes) -> Json:
    """Do what a message tells, once: the same id again gets the first answer. Returns {"type", "state"}.

    sender: by whose secret it was signed, and the destination whose posts it may acknowledge. Raises Invalid for what
    is no such message, Missing for what it names, Conflict for an id that came with other content or a wrong state."""
    key, print_ = f"webhook:{sender}:{id_}", sha256(body).hexdigest()
    kind, told = _read(body)
    with house.books.begin(caller.organization) as work:
        before = work.receipt(key)
        if before and before[0] == print_:
            first: Json = exact.decode(before[1])
            return first
        if before:
            raise Conflict(Fault("duplicate", "This webhook-id came before with other content.", "webhook-id"))
        answer = {"type": kind, "state": KINDS[kind](house, work, caller, sender, told)}
        work.save_receipt(key, print_, exact.encode(answer))
    return answer


def _read(body: bytes) -> tuple[str, str]:
    """(type, key or number) of a message."""
    told = exact.decode(body)
    kind, data = (told.get("type"), told.get("data")) if isinstance(told, dict) else (None, None)
    if not isinstance(kind, str) or kind not in KINDS:
        text = f'A message is {{"type": ..., "timestamp": ..., "data": {{...}}}}; the types are {", ".join(KINDS)}.'
        raise Invalid(Fault("not-supported", text, "type"))
    name = _NAMES[kind]
    value = data.get(name) if isinstance(data, dict) else None
    if not isinstance(value, str) or not _PLAIN.fullmatch(value):
        raise Invalid(
            Fault("required", f"{kind} needs {name}, at most {LONGEST} letters, digits and : / _ . -", f"data.{name}")
        )
    return kind, value


def _arrived(house: House, work: Work, caller: Caller, sender: str, key: str) -> str:
    before = work.acknowledge(sender, key, by=caller.label)
    if not before:
        raise Missing(Fault("not-found", f"Nothing with this key was sent to {sender}.", "data.key"))
    work.trace(replace(tracing.operation(work, caller, "acknowledged", task="", entities=()), type=""))
    return "delivered"


def _paid(house: House, work: Work, caller: Caller, sender: str, number: str) -> str:
    system = f"{uris.INVOICE_NUMBER}/{work.organization}"
    found = list(stored_of(house, work, "Invoice", identifier=f"{system}|{number}"))
    if len(found) != 1:
        raise Missing(Fault("not-found", "There is no invoice with this number.", "data.number"))
    invoice = decoded(found[0])
    if invoice["status"] == "balanced":
        return "balanced"
    if invoice["status"] != "issued":
        text = f"This invoice is {invoice['status']}; only one that is issued can be paid."
        raise Conflict(Fault("business-rule", text, "data.number"))
    write(work, [], [({**invoice, "status": "balanced"}, found[0])])
    work.trace(tracing.changed(work, caller, f"Invoice/{found[0].id}"))
    return "balanced"


_NAMES: Mapping[str, str] = {"delivery.acknowledged": "key", "invoice.paid": "number"}
KINDS: Mapping[str, Callable[[House, Work, Caller, str, str], str]] = {
    "delivery.acknowledged": _arrived,
    "invoice.paid": _paid,
}
"""What may be told -> who does it."""
