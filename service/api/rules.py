"""What is offered on a path, and to which token: yes, or the refusal that says why not."""

import re
from collections.abc import Mapping

from service.access import scopes
from service.api.offers import Offer
from service.api.types import KNOWN
from service.basics.errors import Fault, Missing, NotAllowed, NotPermitted

_ID = re.compile(r"[A-Za-z0-9\-.]{1,64}")
ATTEMPTS = {"DELETE": "delete", "GET": "read", "PATCH": "patch", "POST": "create", "PUT": "update"}
"""R4's code for what a method does to one resource."""
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


def permitted(offer: Offer, granted: tuple[str, ...], type_: str) -> None:
    """Raise NotPermitted unless the token's scopes grant the offer; entries of a Bundle are asked one by one later."""
    if offer.letter and not scopes.allows(granted, type_ or "*", offer.letter):
        raise NotPermitted(Fault("forbidden", f"The token lacks the scope system/{type_ or '*'}.{offer.letter}."))
