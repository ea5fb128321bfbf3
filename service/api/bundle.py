"""A posted Bundle into entries, each permitted by itself, and their results as the answering Bundle."""

from collections.abc import Mapping, Sequence
from typing import Any

from service.access import scopes
from service.api import answers, bundles, conditions
from service.api.answers import Answer, Part
from service.api.ask import Ask
from service.api.outcomes import outcome, status
from service.api.rules import ATTEMPTS, WAYS_OUT
from service.api.types import KNOWN, READ_ONLY
from service.basics.entries import Entry, Result
from service.basics.errors import Fault, Invalid, Missing, NotAllowed, NotPermitted, Refusal, TooLarge

Json = dict[str, Any]
_LETTERS = {"POST": "c", "PUT": "u", "GET": "r"}
_REASONS = {200: "OK", 201: "Created", 304: "Not Modified"}


def transact(ask: Ask) -> Answer:
    """A transaction (all of it or nothing) or a batch (each entry by itself)."""
    bundle = _bundle(ask)
    entries = list(ask.kit.entries(bundle))
    refusals = {i: refusal for i, one in enumerate(entries) if (refusal := _refusal(ask, one)) is not None}
    if refusals and bundle["type"] == "transaction":
        first = next(iter(refusals.values()))
        raise type(first)(*(fault for refusal in refusals.values() for fault in refusal.faults))
    allowed = [one for i, one in enumerate(entries) if i not in refusals]
    done = iter(ask.kit.transact(ask.kit.house, ask.caller, allowed, bundle_type=bundle["type"]) if allowed else ())
    results = [Result(0, refusal=refusals[i]) if i in refusals else next(done) for i in range(len(entries))]
    whole = conditions.returns(ask.headers) == "representation"
    written = [_entry(ask, one, entry, whole=whole) for entry, one in zip(entries, results, strict=True)]
    parts = _parts(entries, results) if entries else (Part(bundle["type"], 200),)
    return Answer(200, bundles.joined({"type": f"{bundle['type']}-response"}, written), parts=parts)


def _parts(entries: Sequence[Entry], results: Sequence[Result]) -> tuple[Part, ...]:
    """The entries of a batch that were refused: each is an interaction of its own, and what was done has its line."""
    return tuple(
        Part(ATTEMPTS[entry.method], status(one.refusal)[0], entry.type, entry.id)
        for entry, one in zip(entries, results, strict=True)
        if one.refusal is not None
    )


def _bundle(ask: Ask) -> Json:
    """The body as a Bundle whose outside is sound; what its entries hold is checked where it is written."""
    bundle = ask.resource()
    if bundle["resourceType"] != "Bundle":
        raise Invalid(Fault("invalid", f"Send a {bundle['resourceType']} to its type; a Bundle is posted here."))
    if bundle.get("type") not in {"transaction", "batch"}:
        raise Invalid(Fault("value", "Bundle.type must be transaction or batch.", "Bundle.type"))
    entries = bundle.get("entry", [])
    if isinstance(entries, list) and len(entries) > ask.kit.limits.entries:
        text = f"A Bundle of {len(entries)} entries is more than the {ask.kit.limits.entries} that are taken at once."
        raise TooLarge(Fault("too-costly", text, "Bundle.entry"))
    faults = ask.kit.check(_shell(bundle))
    if faults:
        raise Invalid(*faults)
    return bundle


def _shell(bundle: Json) -> Json:
    """The Bundle without what its entries hold."""
    entries = bundle.get("entry")
    if not isinstance(entries, list):
        return bundle
    bare = [{k: v for k, v in one.items() if k != "resource"} if isinstance(one, Mapping) else one for one in entries]
    return bundle | {"entry": bare}


def _refusal(ask: Ask, entry: Entry) -> Refusal | None:
    """Why this entry may not be done at all, whatever it holds."""
    where = f"{entry.place}.request.url"
    if entry.type not in KNOWN:
        return Missing(Fault("not-supported", f"The type {entry.type} is not served here.", where))
    if entry.method not in _LETTERS:
        text = f"{entry.method} is not offered.{WAYS_OUT.get(entry.method, '')}"
        return NotAllowed(Fault("not-supported", text, where))
    if entry.type in READ_ONLY:
        return NotAllowed(Fault("not-supported", f"{entry.type} is read at its own address, not in a Bundle.", where))
    letter = _LETTERS[entry.method]
    if not scopes.allows(ask.caller.scopes, entry.type, letter):
        return NotPermitted(Fault("forbidden", f"The token lacks system/{entry.type}.{letter}.", where))
    return None


def _entry(ask: Ask, result: Result, entry: Entry, *, whole: bool) -> bytes:
    if result.refusal is not None:
        code, _ = status(result.refusal)
        return bundles.entry(ask.base, None, response={"status": str(code), "outcome": outcome(result.refusal)})
    response: Json = {"status": f"{result.status} {_REASONS.get(result.status, '')}".strip()}
    if result.stored is None:
        return bundles.entry(ask.base, None, response=response)
    version = result.stored
    response |= {
        "location": answers.location(ask.base, version),
        "etag": answers.etag(version.version),
        "lastModified": version.updated,
    }
    shown = (whole or entry.method == "GET") and result.status != 304
    return bundles.entry(ask.base, version if shown else None, response=response)
