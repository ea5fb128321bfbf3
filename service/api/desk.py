"""The desk of one path: who asks, for what, and may he? Then the interaction is run and its answer sent."""

from contextlib import suppress
from dataclasses import replace

from service.actions.ports import Caller
from service.api import audit, body, outcomes, rules
from service.api.answers import Answer
from service.api.ask import Ask, content
from service.api.door import NOTE, Note, Receive, Scope, Send, reply
from service.api.given import Given
from service.api.hands import Hands
from service.api.kit import Kit
from service.api.offers import PLACES, Offer, methods
from service.api.reception import NOBODY, Reception
from service.basics.errors import Refusal
from service.fhir import exact


class Desk:
    """An ASGI endpoint: answers every method on one path template."""

    def __init__(self, kit: Kit, template: str, *, hands: Hands, log: audit.Audit) -> None:
        self._kit = kit
        self._template = template
        self._offers = PLACES[template]
        self._public = all(offer.code == "capabilities" for offer in self._offers.values())
        self._reception = Reception(kit)
        self._hands = hands
        self._log = log

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        note: Note = scope[NOTE]
        given = Given(scope)
        note.route, note.type, note.id = f"/fhir{self._template}", given.type, given.id
        caller, offer = NOBODY, None
        try:
            if given.method == "OPTIONS":  # what the statement tells everyone: nobody is asked for a token
                rules.known(given.type, given.id)
                await reply(send, Answer(204, headers=((b"allow", self._allow(given).encode()),)))
                return
            caller = await self._caller(given, note)
            offer = rules.offered(self._offers, given.method, type_=given.type, id_=given.id)
            note.action = offer.operation or offer.code
            answer = await self._answer(offer, caller, given, receive)
        except Refusal as refusal:
            with suppress(Refusal):  # it may have come before anyone looked how the answer shall look
                given.read(limit=self._kit.limits.url)
            answer = outcomes.refused(refusal, allow=self._allow(given))
            if answer.status == 401:
                self._turned_away(given, note.request)
        except Exception as error:
            self._audit(offer, caller, given, Answer(499 if isinstance(error, body.Disconnected) else 500))
            raise
        self._audit(offer, caller, given, answer)
        if answer.body and not answer.media and given.params and given.last("_pretty") == "true":
            answer = replace(answer, body=exact.pretty(answer.body))
        await reply(send, answer, media=given.kind, head=given.head)

    def _allow(self, given: Given) -> str:
        return ", ".join([*methods(self._template, given.type), "OPTIONS"])

    async def _caller(self, given: Given, note: Note) -> Caller:
        if self._public:
            return NOBODY
        caller = await self._reception.caller(given.headers, request=note.request, address=given.address)
        note.organization = caller.organization
        return caller

    async def _answer(self, offer: Offer, caller: Caller, given: Given, receive: Receive) -> Answer:
        limits = self._kit.limits
        given.read(limit=limits.url, files=offer.files)
        rules.permitted(offer, caller, given.type)
        text = await body.taken(receive, given.headers, kind=offer.body, limits=limits) if offer.body else b""
        params = content(given.params) if given.params else []
        place = given.type, given.id, given.version
        ask = Ask(self._kit, caller, offer.code, *place, params, given.headers, text, given.within)
        return await self._hands.run(offer, ask)

    def _turned_away(self, given: Given, request: str) -> None:
        """Whom nobody knows leaves a line of nobody's."""
        tried, stranger = (
            rules.attempted(self._offers, given.method, id_=given.id),
            replace(NOBODY, request=request, address=given.address),
        )
        self._log.stranger(audit.line(stranger, tried, status=401, target=rules.named(given.type, given.id)))

    def _audit(self, offer: Offer | None, caller: Caller, given: Given, answer: Answer) -> None:
        """A write that was done has its line in its own transaction; everything else is noted here."""
        if caller is NOBODY:
            return
        for part in answer.parts:
            target = rules.named(part.type, part.id)
            self._log.note(audit.line(caller, Offer(part.code), status=part.status, target=target, seen=part.seen))
        if answer.status >= 400:
            tried = offer or rules.attempted(self._offers, given.method, id_=given.id)
            self._log.note(audit.line(caller, tried, status=answer.status, target=rules.named(given.type, given.id)))
        elif offer is not None and not offer.writes:
            target = given.type, given.id
            self._log.note(audit.line(caller, offer, status=answer.status, target=target, seen=answer.seen))
