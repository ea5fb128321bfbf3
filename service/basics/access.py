"""What crosses the wall between who is asking and what is kept of him: clients and the tokens they are given."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Client:
    """A program that asks for tokens by a signed assertion. keys: its public keys, a JWK Set as JSON text.

    keys_url: where they were fetched when it was registered, "" when they were given; party: whose side it is on."""

    id: str
    organization: str
    name: str
    role: str
    party: str
    scopes: tuple[str, ...]
    keys: str
    keys_url: str = ""
    active: bool = True
    made: str = ""
    refreshed: str = ""


@dataclass(frozen=True, slots=True)
class Grant:
    """A token as it is kept: by its hash, with what it grants to whom."""

    hash: str
    organization: str
    scopes: tuple[str, ...]
    label: str
    role: str = ""
    party: str = ""
    client: str = ""
