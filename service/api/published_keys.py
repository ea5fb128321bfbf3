"""The public halves of an organisation's own keys, for record systems that check what is signed by them."""

import asyncio
import json

from service.api import door, outcomes
from service.api.answers import Answer
from service.api.door import NOTE, Note, Receive, Scope, Send
from service.api.kit import Kit
from service.basics.errors import Fault, NotAllowed
from service.basics.signing import PUBLISHED_SECONDS
from service.fhir import exact

KEYS = "/.well-known/jwks/{organization}.json"
"""Below our base; whoever asks needs no token."""
_KEPT = (b"cache-control", f"public, max-age={PUBLISHED_SECONDS}".encode())


class PublishedKeys:
    """An ASGI endpoint. An organisation without keys looks like one that is not there: an empty set."""

    def __init__(self, kit: Kit) -> None:
        self._kit = kit

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        note: Note = scope[NOTE]
        note.route, note.action = f"/fhir{KEYS}", "jwks"
        if scope["method"] not in {"GET", "HEAD"}:
            refusal = NotAllowed(Fault("not-supported", "Only GET is offered here."))
            await door.reply(send, outcomes.refused(refusal, allow="GET, HEAD"))
            return
        found = await asyncio.to_thread(self._kit.books.signing_keys, scope["path_params"]["organization"])
        body = exact.encode({"keys": [json.loads(one.public) for one in found if not one.retired]})
        answer = Answer(200, body, (_KEPT,), media=b"application/json")
        await door.reply(send, answer, head=scope["method"] == "HEAD")
