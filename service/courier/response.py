"""Turns the body of a 2xx answer into a verdict: did every entry of the Bundle that was sent succeed?"""

import json
from dataclasses import dataclass
from typing import Any

from service.courier.answer import Answer
from service.fhir.reading.transaction_response import ANSWERS, performed, promised

AGAIN = frozenset({"408", "409", "425", "429", "500", "502", "503", "504", "507"})  # of an entry


@dataclass(frozen=True, slots=True)
class Reading:
    """performed: every entry succeeded; else `again` says whether another attempt may help; reason is for a person."""

    performed: bool
    reason: str
    again: bool = False


def read(answer: Answer, *, sent: bytes) -> Reading:
    """Judge a 2xx answer to `sent`; a success that cannot be read is never taken for one."""
    if answer.encoding:
        return Reading(False, f"the answer came in Content-Encoding {answer.encoding}, though identity was asked for")
    if not answer.whole:
        return Reading(False, "the answer is too long to be read (over 1 MiB)")
    if not answer.body.strip():
        return _silent(answer)
    entries, done = promised(sent), performed(answer.body)
    if done is not None and done == entries:  # nearly always, and many times as quick as reading all of it
        return Reading(True, f"{done} entries performed")
    content = _json(answer.body)
    if not isinstance(content, dict):
        # a sign-in or maintenance page of a proxy, most likely: it goes away, and a repeat does no harm
        return Reading(False, f"answered {answer.status} with something that is not FHIR JSON", again=True)
    return _bundle(content, entries=entries)


@dataclass(frozen=True, slots=True)
class Part:
    """What one entry of a batch or transaction was answered."""

    status: str
    location: str


def parts(answer: Answer) -> list[Part] | None:
    """What each entry was answered; None when that can't be read."""
    content = None if answer.encoding or not answer.whole else _json(answer.body)
    if not isinstance(content, dict) or content.get("type") not in ANSWERS:
        return None
    answered = content.get("entry")
    return [_part(one) for one in answered] if isinstance(answered, list) else None


def _part(entry: Any) -> Part:
    response = entry.get("response") if isinstance(entry, dict) else None
    location = response.get("location") if isinstance(response, dict) else None
    return Part(_status(entry), location if isinstance(location, str) else "")


def _silent(answer: Answer) -> Reading:
    if answer.status == 202:
        return Reading(False, "answered 202: accepted for later, which says nothing about what became of it")
    return Reading(True, f"answered {answer.status} without a transaction-response")


def _bundle(content: dict[str, Any], *, entries: int | None) -> Reading:
    kind = content.get("type") if content.get("resourceType") == "Bundle" else content.get("resourceType")
    if kind not in ANSWERS:
        # typically the address of a store for Bundles (.../Bundle), where it is filed and not performed
        return Reading(False, f"answered with {_word(kind)} instead of a transaction-response: not performed")
    answered = content.get("entry")
    answered = answered if isinstance(answered, list) else []
    if entries is not None and len(answered) != entries:
        return Reading(False, f"answered {len(answered)} of {entries} entries")
    failed = [f"entry[{n}] {status}" for n, status in enumerate(map(_status, answered)) if status[:1] != "2"]
    if failed:
        # what failed for a passing reason mends itself; a repeat of the rest does no harm, for it is conditional
        again = all(one.split(" ")[1] in AGAIN for one in failed)
        return Reading(False, f"{len(failed)} of {len(answered)} entries failed: {', '.join(failed[:10])}", again)
    return Reading(True, f"{len(answered)} entries performed")


def _status(entry: Any) -> str:
    response = entry.get("response") if isinstance(entry, dict) else None
    status = response.get("status") if isinstance(response, dict) else None
    return _word(status)[:3] if status else "without a status"


def _word(value: Any) -> str:
    return value[:40] if isinstance(value, str) and value.isprintable() else "something unknown"


def _json(text: bytes) -> Any:
    try:
        return json.loads(text, parse_float=str)  # numbers are not looked at here
    except (ValueError, RecursionError):
        return None
