"""A form posted to the token endpoint into a short token (SMART Backend Services), or a refusal."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Protocol

from service.access import assertion, granting, roles, scopes, tokens
from service.access.assertion import Unproven
from service.basics.access import Client, Grant
from service.basics.errors import Fault, Invalid, NotAllowed, NotPermitted, Unrecognised

GRANT = "client_credentials"
LIFE = timedelta(minutes=5)
"""How long a token is good."""
_REMEMBERED = timedelta(hours=1)  # beyond the end of an assertion, whatever the clocks of two machines say


class Kept(Protocol):
    """What is kept of clients; the store honours it."""

    def client(self, id_: str) -> Client | None: ...
    def exchange(self, jti: str, grant: Grant, *, used_until: datetime, until: datetime) -> bool: ...


class NotProven(Unrecognised):
    """The client did not prove who it is."""

    organization = ""  # of the client that it said it was, where there is such a one
    name = ""


@dataclass(frozen=True, slots=True)
class Given:
    """A token as it is told once, with whose it is."""

    token: str
    scopes: tuple[str, ...]
    client: Client


def given(
    kept: Kept, form: Mapping[str, str], *, audiences: Sequence[str], assertion_type: str, now: datetime
) -> Given:
    """A token for a client that proves who it is. Raises Invalid, NotAllowed for another grant, NotProven, and
    NotPermitted for scopes beyond what the client was registered with. audiences: addresses of ours."""
    if form.get("grant_type") != GRANT:
        raise NotAllowed(Fault("not-supported", f"grant_type is to be {GRANT}.", "grant_type"))
    client, proof = authenticated(kept, form, audiences=audiences, assertion_type=assertion_type, now=now)
    wanted = _wanted(client, form.get("scope", ""))
    token = tokens.new_token()
    hash_ = tokens.fingerprint(token)
    grant = Grant(hash_, client.organization, wanted, client.name, client.role, client.party, client.id)
    if not kept.exchange(proof.jti, grant, used_until=proof.expires + _REMEMBERED, until=now + LIFE):
        raise _not_proven("the assertion was used before", client)
    return Given(token, wanted, client)


def authenticated(
    kept: Kept, form: Mapping[str, str], *, audiences: Sequence[str], assertion_type: str, now: datetime
) -> tuple[Client, assertion.Proof]:
    """The client that a form's assertion proves; raises Invalid or NotProven. It does not look for a repeat."""
    text = form.get("client_assertion", "")
    if form.get("client_assertion_type") != assertion_type or not text:
        words = f"Send client_assertion, a signed JWT, and client_assertion_type={assertion_type}."
        raise Invalid(Fault("required", words, "client_assertion"))
    client = None
    try:
        said = assertion.head(text)
        client = kept.client(said.issuer)
        if client is None or not client.active:
            raise Unproven("no such client, or it is switched off")
        if said.keys_url and said.keys_url != client.keys_url:
            raise Unproven("jku is not the address that was registered")
        if form.get("client_id", client.id) != client.id:
            raise Unproven("client_id is another's")
        return client, assertion.proven(text, said, keys=client.keys, audiences=audiences, now=now)
    except Unproven as error:
        raise _not_proven(str(error), client) from None


def _not_proven(why: str, client: Client | None) -> NotProven:
    """Only a client that is registered is told what is wrong: others learn nothing of who is."""
    text = f"The client did not prove who it is: {why}." if client else "The client is not known here."
    refusal = NotProven(Fault("login", text))
    if client is not None:
        refusal.organization, refusal.name = client.organization, client.name
    return refusal


def _wanted(client: Client, text: str) -> tuple[str, ...]:
    """The scopes that are asked for, each as it was written; raises NotPermitted for any beyond the registration."""
    asked = tuple(dict.fromkeys(text.split()))
    if not asked:
        raise NotPermitted(Fault("forbidden", "Name the scopes that the token is to have.", "scope"))
    beyond = [one for one in asked if not (scopes.covers(client.scopes, one) and roles.knows(client.role, one))]
    if beyond:
        raise NotPermitted(Fault("forbidden", f"The client is not registered for {', '.join(beyond)}.", "scope"))
    return asked


def registered(client: Client) -> Client:
    """A client as it may be kept; raises Invalid with all that is wrong with its role, scopes and keys."""
    faults: list[Fault] = []
    try:
        client = replace(
            client, scopes=granting.granted(client.organization, client.scopes, role=client.role, party=client.party)
        )
    except Invalid as refusal:
        faults += refusal.faults
    try:
        client = replace(client, keys=assertion.key_set(client.keys))
    except Invalid as refusal:
        faults += refusal.faults
    if faults:
        raise Invalid(*faults)
    return client
