"""The ways in by a signed assertion, as OpenAPI describes them; what is given back is OAuth's JSON, not FHIR's."""

from typing import Any

from service.fhir import uris

Json = dict[str, Any]
_TYPED = "application/x-www-form-urlencoded"
_TEXT = {"type": "string"}
_ASSERTION = {
    "client_assertion_type": {"const": uris.CLIENT_ASSERTION},
    "client_assertion": {"type": "string", "description": "A JWT, signed by RS384 or ES384 (RFC 7523)"},
}
_REFUSED = {"400": "Refused", "401": "Token", "404": "Missing", "409": "Conflict", "413": "Large", "415": "Media"}
_REFUSED |= {"422": "Rule", "503": "Busy"}
_ERRORS = {
    "400": {"description": "invalid_request, invalid_scope or unsupported_grant_type (RFC 6749, 5.2)"},
    "401": {"description": "invalid_client: it did not prove who it is"},
    "413": {"description": "The form is too long"},
}


def _told(text: str) -> Json:
    return {"description": text, "content": {"application/json": {"schema": {"type": "object"}}}}


def _posted(name: str, summary: str, form: Json, *, done: Json, public: bool = True) -> Json:
    schema = {"type": "object", "properties": form, "required": sorted(form)}
    found = {
        "operationId": name,
        "summary": summary,
        "tags": ["system"],
        "parameters": [],
        "requestBody": {"required": True, "content": {_TYPED: {"schema": schema}}},
        "responses": {"200": done} | _ERRORS,
    }
    return {"post": found | ({"security": []} if public else {})}


def _placed(*names: str) -> list[Json]:
    return [{"name": name, "in": "path", "required": True, "schema": _TEXT} for name in names]


_KEYS: Json = {
    "get": {
        "operationId": "published-keys",
        "summary": "The public keys by which an organisation signs; none for one that is not known",
        "tags": ["system"],
        "parameters": _placed("organization"),
        "responses": {"200": _told("A JWK set (RFC 7517)")},
        "security": [],
    }
}
_WEBHOOK: Json = {
    "post": {
        "operationId": "webhook",
        "summary": "A message of a record system, signed as Standard Webhooks 1.0 has it",
        "tags": ["system"],
        "parameters": _placed("organization", "sender"),
        "requestBody": {"required": True, "content": {"application/json": {"schema": {"type": "object"}}}},
        "responses": {
            "200": _told("What was done, once for each message"),
            **{code: {"$ref": f"#/components/responses/{name}"} for code, name in _REFUSED.items()},
        },
        "security": [],
    }
}
PATHS: Json = {
    "/fhir/.well-known/jwks/{organization}.json": _KEYS,
    "/webhooks/{organization}/{sender}": _WEBHOOK,
    "/fhir/.well-known/smart-configuration": {
        "get": {
            "operationId": "smart-configuration",
            "summary": "What a program needs to know to ask for a token",
            "tags": ["system"],
            "parameters": [],
            "responses": {"200": _told("The configuration")},
            "security": [],
        }
    },
    "/fhir/oauth/token": _posted(
        "token",
        "A token for five minutes, for a client that proves who it is",
        {"grant_type": {"const": "client_credentials"}, "scope": _TEXT} | _ASSERTION,
        done=_told("The token, its scopes and how long it is good"),
    ),
    "/fhir/oauth/introspect": _posted(
        "introspect", "What a token of one's own organisation grants", {"token": _TEXT},
        done=_told("What it grants, or that it is not active"), public=False,
    ),
    "/fhir/oauth/revoke": _posted(
        "revoke", "End a token of the client's own", {"token": _TEXT} | _ASSERTION,
        done={"description": "It is worthless now, if it was the client's"},
    ),
}  # fmt: skip
