"""Keys and assertions of invented clients, signed by PyJWT: another implementation than the one that proves them."""

import json
import time
import uuid
from dataclasses import dataclass
from functools import cache
from typing import Any

import jwt
from cryptography.hazmat.primitives.asymmetric import ec, rsa

from service.access import backend
from service.basics.access import Client
from service.fhir import uris
from service.store import SqlBooks

Json = dict[str, Any]


@cache
def rsa_key(size: int = 2048, which: int = 0) -> rsa.RSAPrivateKey:
    """A key that is made once in a test session; `which` tells several apart."""
    return rsa.generate_private_key(65537, size)


@cache
def ec_key(curve: str = "secp384r1", which: int = 0) -> ec.EllipticCurvePrivateKey:
    """The same on a curve."""
    return ec.generate_private_key({"secp384r1": ec.SECP384R1(), "secp256r1": ec.SECP256R1()}[curve])


def public(key: Any, kid: str, **more: object) -> Json:
    """The JWK of a key's public half, as PyJWT writes it."""
    kind = jwt.algorithms.RSAAlgorithm if isinstance(key, rsa.RSAPrivateKey) else jwt.algorithms.ECAlgorithm
    return json.loads(kind.to_jwk(key.public_key())) | {"kid": kid} | more


def key_set(*keys: Json) -> str:
    return json.dumps({"keys": list(keys)})


@dataclass(frozen=True)
class Program:
    """A registered client with its secret keys, and where it asks for tokens."""

    id: str
    organization: str
    audience: str

    def claims(self, **changed: object) -> Json:
        """What an assertion says, with some of it changed or (None) left out."""
        now = int(time.time())
        said = {"iss": self.id, "sub": self.id, "aud": self.audience, "exp": now + 240, "jti": uuid.uuid4().hex}
        return {name: value for name, value in (said | changed).items() if value is not None}

    def assertion(self, algorithm: str = "RS384", *, head: Json | None = None, key: Any = None, **changed: Any) -> str:
        """A signed assertion."""
        signing = key or (rsa_key() if algorithm.startswith("RS") else ec_key())
        named = {"kid": "rsa" if algorithm.startswith("RS") else "ec"} | (head or {})
        return jwt.encode(self.claims(**changed), signing, algorithm=algorithm, headers=named)


def form(assertion: str, scope: str = "system/*.rs", **changed: str) -> dict[str, str]:
    """What is posted to the token endpoint."""
    said = {
        "grant_type": "client_credentials",
        "scope": scope,
        "client_assertion_type": uris.CLIENT_ASSERTION,
        "client_assertion": assertion,
    }
    return {name: value for name, value in (said | changed).items() if value}


def registered(books: SqlBooks, organization: str, *scopes: str, role: str = "", base: str = "") -> Program:
    """A client of an organisation, which may ask for everything when no scope is named."""
    keys = key_set(public(rsa_key(), "rsa"), public(ec_key(), "ec"))
    made = Client(uuid.uuid4().hex, organization, uuid.uuid4().hex, role, "", scopes or ("system/*.cruds",), keys)
    assert books.add_client(backend.registered(made))
    return Program(made.id, organization, f"{base}/oauth/token")
