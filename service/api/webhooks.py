"""Where record systems send signed webhooks: nobody needs a token, and nothing is read before it is proven genuine."""

import asyncio
from collections.abc import Mapping
from datetime import UTC, datetime

from service.access import signature
from service.actions import receive_webhook
from service.actions.ports import Caller
from service.api import audit, body, door, media, outcomes
from service.api.answers import Answer
from service.api.door import NOTE, Note, Receive, Scope, Send
from service.api.given import Given
from service.api.kit import Kit
from service.api.offers import Offer
from service.basics.errors import Fault, NotAllowed, Refusal, Unrecognised
from service.fhir import exact

HOOKS = "/webhooks/{organization}/{sender}"
"""At the root of the service, for it is no part of FHIR."""
LARGEST = 16 * 1024  # bytes of a message
_JSON = b"application/json"


class Webhooks:
    """An ASGI endpoint for HOOKS."""

    def __init__(self, kit: Kit, *, log: audit.Audit) -> None:
        self._kit, self._log = kit, log

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        note: Note = scope[NOTE]
        note.route, note.action = HOOKS, "webhook"
        given, path = Given(scope), scope["path_params"]
        if given.method != "POST":
            refusal = NotAllowed(Fault("not-supported", "Only POST is offered here."))
            await door.reply(send, outcomes.refused(refusal, allow="POST"), head=given.head)
            return
        try:
            media.check_json(given.headers.get("content-type", ""), given.headers.get("content-encoding", ""))
            declared, seconds = given.headers.get("content-length", ""), self._kit.limits.seconds
            text = await body.read(receive, declared=declared, limit=LARGEST, seconds=seconds)
            answer = await asyncio.to_thread(
                self._done, path["organization"], path["sender"], given.headers, text, note
            )
        except Refusal as refusal:
            answer = outcomes.refused(refusal)
        await door.reply(send, answer)

    def _done(self, organization: str, sender: str, headers: Mapping[str, str], text: bytes, note: Note) -> Answer:
        caller = Caller(organization, "practice", (), f"webhook {sender}"[:200], note.request)
        id_ = self._proven(caller, sender, headers, text)
        note.organization = organization
        try:
            told = receive_webhook.receive(self._kit.house, caller, sender, id_, text)
        except Refusal as refusal:
            status = outcomes.refused(refusal).status
            self._log.note(audit.line(caller, Offer("operation", operation="webhook"), status=status, target=("", "")))
            raise
        return Answer(200, exact.encode(told), media=_JSON)

    def _proven(self, caller: Caller, sender: str, headers: Mapping[str, str], text: bytes) -> str:
        """The message's id. Whoever is not known here is refused like whoever signed wrongly, in the same time."""
        hook = self._kit.books.hook(caller.organization, sender)
        secrets = hook.secrets if hook is not None and hook.active else ()
        try:
            id_ = signature.verified(secrets or (_NOBODY,), headers, body=text, now=datetime.now(UTC))
        except Unrecognised:
            known = caller.organization if secrets else ""
            self._log.stranger(audit.login(known, caller.label if known else "", request=caller.request, outcome="4"))
            raise
        if not secrets:
            raise Unrecognised(Fault("login", "The signature is not one of a secret that is known here."))
        return id_


_NOBODY = signature.PREFIX + "A" * 44  # what is compared with when nobody is known: its bearer is refused all the same
