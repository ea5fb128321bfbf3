"""What is offered on a path, and to which token: yes, or the refusal that says why not."""

import re
from collections.abc import Mapping

from service.access import roles, scopes
from service.actions.ports import Caller
from service.api.offers import Offer
from service.api.types import KNOWN, READ_ONLY
from service.basics.errors import Fault, Missing, NotAllowed, NotPermitted

_ID = re.compile(r"[A-Za-z0-9\-.]{1,64}")
ATTEMPTS = {"DELETE": "delete", "GET": "read", "PATCH": "patch", "POST": "create", "PUT": "update"}
"""R4's code for what a method does to one resource."""
_WHOLE = frozenset({"history-type", "history-system"})  # what would show more than a part of a type
WAYS_OUT = {
    "DELETE": " What was recorded stays: set its status to entered-in-error, or active to false.",
}


def known(type_: str, id_: str) -> None:
    """Raise Missing for an unknown type or operation."""
    if type_ and type_ not in KNOWN:
        raise Missing(
            Fault("not-supported", f"The type {type_} is not served here; GET metadata lists those that are.")
        )
    if id_.startswith("$"):
        raise Missing(Fault("not-supported", f"The operation {id_} is not offered here; GET metadata lists them."))


def offered(offers: Mapping[str, Offer], method: str, *, type_: str, id_: str) -> Offer:
    """The offer of a method. Raises Missing for an unknown type, operation or impossible id, NotAllowed otherwise."""
    known(type_, id_)
    offer = offers.get(method)
    if offer is None:
        raise NotAllowed(Fault("not-supported", f"{method} is not offered here.{WAYS_OUT.get(method, '')}"))
    if type_ in offer.never:
        raise NotAllowed(Fault("not-supported", f"{type_} can only be read and searched here: the service writes it."))
    if offer.only and type_ not in offer.only and not offer.operation:
        raise NotAllowed(Fault("not-supported", f"{type_} has no {method}.{WAYS_OUT.get(method, '')}"))
    if offer.only and type_ not in offer.only:
        raise Missing(Fault("not-supported", f"The operation ${offer.operation} is not offered on {type_}."))
    if id_ and not _ID.fullmatch(id_):
        raise Missing(Fault("not-found", f"There is no {type_} with that id; an id has letters, digits, - and . only."))
    return offer


def attempted(offers: Mapping[str, Offer], method: str, *, id_: str) -> Offer:
    """What was tried, for the audit, also where nothing is offered; without a code where R4 has no word for it."""
    if id_.startswith("$"):
        return Offer("operation")
    return offers.get(method) or Offer(ATTEMPTS.get(method, ""))


def named(type_: str, id_: str) -> tuple[str, str]:
    """(type, id) as far as they are any: what else an address holds may be anything, and stays out of the audit."""
    return (type_, id_ if _ID.fullmatch(id_) else "") if type_ in KNOWN else ("", "")


def permitted(offer: Offer, caller: Caller, type_: str) -> None:
    """Raise NotPermitted unless role and scopes grant the offer; entries of a Bundle are asked one by one later."""
    asked = offer.operation or ("bundles" if offer.code == "transaction" else "")
    if asked and not roles.operates(caller.role, asked):
        what = f"call ${offer.operation}" if offer.operation else "send Bundles"
        raise NotPermitted(Fault("forbidden", f"The role {caller.role} may not {what}."))
    if not offer.letter:
        return
    # what is done to an exam is decided by the role that may call the operation, not by what it may do to a Task
    granted = caller.asked if caller.role and offer.operation and offer.writes and offer.only else caller.scopes
    held = scopes.limits(granted, type_ or "*", offer.letter)
    if held == ():
        raise NotPermitted(Fault("forbidden", f"The token lacks the scope system/{type_ or '*'}.{offer.letter}."))
    if offer.writes and scopes.narrowed(caller.scopes):
        text = "A token whose scopes are narrowed by search parameters only reads."
        raise NotPermitted(Fault("forbidden", text))
    if held is not None and (offer.code in _WHOLE or type_ in READ_ONLY):
        text = f"The token sees a part of {type_ or 'what there is'}: search it, or read one of it by its id."
        raise NotPermitted(Fault("forbidden", text))
