"""Who may come in, over HTTP: SMART's configuration, and the token, introspection and revocation endpoints."""

import asyncio
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from service.access import roles, tokens
from service.api import audit, body, door, media, outcomes
from service.api.answers import Answer
from service.api.ask import pairs
from service.api.door import NOTE, Note, Receive, Scope, Send
from service.api.given import Given
from service.api.kit import Kit
from service.api.reception import Reception
from service.basics.errors import Fault, Invalid, NotAllowed, NotPermitted, Refusal, Unrecognised, WrongMedia
from service.fhir import exact, uris

CONFIGURATION = "/.well-known/smart-configuration"
TOKEN, INTROSPECT, REVOKE = "/oauth/token", "/oauth/introspect", "/oauth/revoke"
PATHS = (CONFIGURATION, TOKEN, INTROSPECT, REVOKE)
_JSON = b"application/json"
_MOST = 16 * 1024  # bytes of a form
# RFC 6749, 5.2 and RFC 7009: what a refusal is called, and its status
_ERRORS: Mapping[type[Refusal], tuple[int, str]] = {
    NotAllowed: (400, "unsupported_grant_type"),
    NotPermitted: (400, "invalid_scope"),
    Unrecognised: (401, "invalid_client"),
    Invalid: (400, "invalid_request"),
    WrongMedia: (400, "invalid_request"),
}


def configuration(base: str) -> dict[str, object]:
    """What SMART App Launch 2 has a server tell of itself; base is our own FHIR address."""
    return {
        "token_endpoint": base + TOKEN,
        "introspection_endpoint": base + INTROSPECT,
        "revocation_endpoint": base + REVOKE,
        "token_endpoint_auth_methods_supported": ["private_key_jwt"],
        "token_endpoint_auth_signing_alg_values_supported": ["RS384", "ES384"],
        "grant_types_supported": ["client_credentials"],
        "scopes_supported": [f"system/*.{letters}" for letters in ("cruds", "rs", "read", "write", "*")],
        "code_challenge_methods_supported": ["S256"],
        "capabilities": ["client-confidential-asymmetric", "permission-v1", "permission-v2"],
    }


class Trust:
    """An ASGI endpoint for one of PATHS."""

    def __init__(self, kit: Kit, path: str, *, log: audit.Audit) -> None:
        self._kit, self._path, self._log = kit, path, log
        self._reception = Reception(kit)
        self._method = "GET" if path == CONFIGURATION else "POST"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        note: Note = scope[NOTE]
        note.route, note.action = f"/fhir{self._path}", self._path.rpartition("/")[2]
        given = Given(scope)
        if given.method != self._method:
            refusal = NotAllowed(Fault("not-supported", f"Only {self._method} is offered here."))
            await door.reply(send, outcomes.refused(refusal, allow=self._method), head=given.head)
            return
        try:
            answer = await self._answer(given, receive, note)
        except Refusal as refusal:
            answer = _refused(refusal)
        await door.reply(send, answer.also((b"pragma", b"no-cache")), head=given.head)

    async def _answer(self, given: Given, receive: Receive, note: Note) -> Answer:
        if self._path == CONFIGURATION:
            return _told(configuration(self._kit.house.base))
        media.check_form(given.headers.get("content-type", ""), given.headers.get("content-encoding", ""))
        declared, seconds = given.headers.get("content-length", ""), self._kit.limits.seconds
        form = _form(await body.read(receive, declared=declared, limit=_MOST, seconds=seconds))
        if self._path != TOKEN and "token" not in form:
            raise Invalid(Fault("required", "token is missing: say which token is meant."))
        if self._path == INTROSPECT:
            caller = await self._reception.caller(given.headers, request=note.request)
            note.organization = caller.organization
            mine = tokens.bearer(given.headers.get("authorization")) == form.get("token")
            return await asyncio.to_thread(self._introspected, form, caller.organization, caller.role, mine)
        return await asyncio.to_thread(
            self._granted if self._path == TOKEN else self._revoked, form, note, given.address
        )

    def _granted(self, form: Mapping[str, str], note: Note, address: str) -> Answer:
        from service.access import backend  # noqa: PLC0415  # 20 MB that only who asks for tokens should pay

        try:
            made = backend.given(self._kit.books, form, **self._terms(TOKEN))
        except backend.NotProven as refusal:
            who = refusal.organization, refusal.name
            self._log.stranger(audit.login(*who, request=note.request, outcome="4", address=address))
            raise
        client = made.client
        note.organization = client.organization
        who = client.organization, client.name
        self._log.note(audit.login(*who, request=note.request, outcome="0", address=address))
        life = int(backend.LIFE.total_seconds())
        granted = " ".join(made.scopes)
        return _told({"access_token": made.token, "token_type": "bearer", "expires_in": life, "scope": granted})

    def _introspected(self, form: Mapping[str, str], organization: str, role: str, mine: bool) -> Answer:
        """What a token of one's own organisation grants (RFC 7662); any other is not active, foreign or unknown."""
        if not mine and not roles.operates(role, "introspect"):
            raise NotPermitted(Fault("forbidden", f"The role {role} may look at its own token only."))
        found = self._kit.books.token(tokens.fingerprint(form.get("token", "")))
        if found is None or found.organization != organization:
            return _told({"active": False})
        granted = roles.effective(found.role, found.party, found.scopes)
        told: dict[str, object] = {"active": True, "token_type": "bearer", "scope": " ".join(granted)}
        told |= {"client_id": found.client or found.label, "sub": found.client or found.label}
        if found.until:
            told["exp"] = int(datetime.fromisoformat(found.until).timestamp())
        return _told(told)

    def _revoked(self, form: Mapping[str, str], note: Note, _address: str) -> Answer:
        """200 whether or not the token was the client's (RFC 7009): nobody learns of others' tokens."""
        from service.access import backend  # noqa: PLC0415  # as above

        client, _ = backend.authenticated(self._kit.books, form, **self._terms(REVOKE, TOKEN))
        note.organization = client.organization
        hash_ = tokens.fingerprint(form.get("token", ""))
        found = self._kit.books.token(hash_)
        if found is not None and found.client == client.id:
            self._kit.books.revoke_token(client.organization, hash_)
        return Answer(200)

    def _terms(self, *paths: str) -> dict[str, Any]:
        audiences = tuple(self._kit.house.base + path for path in paths)
        return {"audiences": audiences, "assertion_type": uris.CLIENT_ASSERTION, "now": datetime.now(UTC)}


def _form(text: bytes) -> dict[str, str]:
    given = pairs(text.decode("ascii", errors="replace"))
    form = dict(given)
    if len(form) != len(given):
        raise Invalid(Fault("invalid", "A parameter may be given once only."))
    return form


def _told(value: Mapping[str, object], *, status: int = 200) -> Answer:
    return Answer(status, exact.encode(value), media=_JSON)


def _refused(refusal: Refusal) -> Answer:
    """A refusal as OAuth words it; what has no name there stays what it is."""
    found = next((_ERRORS[kind] for kind in type(refusal).__mro__ if kind in _ERRORS), None)
    if found is None:
        return outcomes.refused(refusal)
    words = "".join(c for c in " ".join(f.text for f in refusal.faults) if " " <= c <= "~" and c not in '"\\')
    return _told({"error": found[1], "error_description": words}, status=found[0])
