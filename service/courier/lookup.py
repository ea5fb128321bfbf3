"""What a record system has of a transaction that it answered with 409 or 412, into what follows for the post."""

from collections.abc import Sequence

from service.courier import found, verdict
from service.courier.answer import Answer
from service.courier.entries import Entry, entries, is_conditional
from service.courier.line import Halt, Line
from service.courier.verdict import Verdict


async def looked_up(line: Line, refusal: Answer) -> Verdict:
    """Look for everything the transaction names and writes: a refusal may come of a race that was won by ourselves.

    Delivered when all of it is there as sent; tried again after 409; else a dead letter that says what is amiss."""
    said = f"answered {refusal.status}"
    try:
        given = entries(line.post.body)
        amiss = await _referred(line, given) or await _doubles(line, given)
        if amiss:
            return Verdict(verdict.DEAD, f"{said}: {amiss}")
        missing, other = await _differing(line, given)
    except Halt as halt:
        return Verdict(halt.ruling.state, f"{said}; looked up: {halt.ruling.reason}", halt.ruling.retry_after)
    finally:
        line.last = refusal
    if not missing and not other:
        return Verdict(verdict.DELIVERED, f"{said}, but all {len(given)} entries are there as sent")
    words = f"{said}: of {len(given)} entries {missing} are not there and {other} are there otherwise"
    return Verdict(verdict.WAITING if refusal.status == 409 else verdict.DEAD, words, refusal.retry_after)


async def _referred(line: Line, given: Sequence[Entry]) -> str:
    for target in sorted({n for entry in given for n in entry.needs if is_conditional(n)}):
        there = await line.seek(target)
        if len(there) != 1:
            return f"it has {len(there) or 'no'} {target.partition('?')[0]} for what the post refers to"
    return ""


async def _doubles(line: Line, given: Sequence[Entry]) -> str:
    for entry in given:
        there = await line.seek(entry.sought)
        if len(there) > 1:
            return f"{len(there)} resources there bear the identifier of entry[{entry.number}] ({entry.type})"
    return ""


async def _differing(line: Line, given: Sequence[Entry]) -> tuple[int, int]:
    """How many are not there, and how many are there with other content."""
    missing = other = 0
    for entry in given:
        there = await line.seek(entry.sought)
        missing += not there
        other += bool(there) and not entry.once and not found.same(entry.resource, there[0].resource)
    return missing, other
