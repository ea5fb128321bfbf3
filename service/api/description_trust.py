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


PATHS: Json = {
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
