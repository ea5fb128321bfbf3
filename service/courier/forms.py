"""One leased post into its delivery, in the form that its destination takes."""

from collections.abc import Awaitable, Callable

from service.basics.agreement import IN_HOUSE
from service.basics.subscription import NOTICES
from service.courier import notices, replies, verdict
from service.courier.answer import Answer, NoAnswer
from service.courier.line import Halt, Line
from service.courier.lookup import looked_up
from service.courier.rungs import RUNGS
from service.courier.signing import headers as signed
from service.courier.verdict import Verdict
from service.fhir import exact

Form = Callable[[Line], Awaitable[Verdict]]


async def carry(line: Line) -> tuple[Answer | NoAnswer, Verdict]:
    """Deliver the post as far as it goes: the last answer, and what follows. Raises Lost with the lease."""
    try:
        ruling = await FORMS.get(line.post.form, _rung)(line)
    except Halt as halt:
        return halt.answer, halt.ruling
    return line.last, ruling


async def _rung(line: Line) -> Verdict:
    return await RUNGS[line.post.form](line).climb()


async def _transaction(line: Line) -> Verdict:
    answer = await line.ask("POST", body=line.post.body, headers=_key(line))
    if answer.status in (409, 412):
        return await looked_up(line, answer)
    return verdict.judge(answer, sent=line.post.body)


async def _message(line: Line) -> Verdict:
    answer = await line.ask("POST", "$process-message", body=line.post.body, headers=_key(line))
    return replies.to_message(answer)


async def _document(line: Line) -> Verdict:
    """Create the document once: whoever has one with its identifier already is left alone."""
    identifier = exact.trusted(exact.elements(line.post.body)["identifier"])
    once = {**_key(line), "If-None-Exist": f"identifier={identifier['system']}|{identifier['value']}"}
    answer = await line.ask("POST", "Bundle", body=line.post.body, headers=once)
    return replies.to_document(answer)


async def _webhook(line: Line) -> Verdict:
    """Signed anew at each attempt, under the one id that never changes (Standard Webhooks 1.0.0)."""
    secrets = line.post.authorization.split()
    signature = signed(secrets, key=line.post.key, at=line.now(), body=line.post.body)
    answer = await line.ask("POST", body=line.post.body, headers={**_key(line), **signature, **_PLAIN_JSON})
    return replies.to_webhook(answer)


async def _in_house(line: Line) -> Verdict:
    """Hand it over to another organisation of this very service: no address is called."""
    if line.lines.home is None:
        raise line.halt(verdict.WAITING, "this courier hands nothing over in house")
    return await line.desk.at(line.lines.home, line.post)


def _key(line: Line) -> dict[str, str]:
    return {"Idempotency-Key": line.post.key}


_PLAIN_JSON = {"Content-Type": "application/json", "Accept": "application/json"}
FORMS: dict[str, Form] = {
    "transaction": _transaction,
    "message": _message,
    "document": _document,
    "webhook": _webhook,
    IN_HOUSE: _in_house,
    **dict.fromkeys(NOTICES, notices.carry),
}
