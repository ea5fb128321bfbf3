"""A posted Bundle into entries, each permitted by itself, and their results as the answering Bundle."""

from collections.abc import Mapping, Sequence
from typing import Any

from service.actions.references import independent
from service.api import answers, bundles, conditions, inside
from service.api.answers import Answer, Part
from service.api.ask import Ask
from service.api.inside import Answerer
from service.api.outcomes import outcome, status
from service.api.rules import ATTEMPTS
from service.basics.entries import Entry, Result
from service.basics.errors import Fault, Invalid, Refusal, TooLarge

Json = dict[str, Any]
_REASONS = {200: "OK", 201: "Created", 204: "No Content", 304: "Not Modified"}


def transact(ask: Ask, answerer: Answerer) -> Answer:
    """A transaction (all of it or nothing) or a batch (each entry by itself); reads are answered as they are alone."""
    bundle = _bundle(ask)
    entries = list(ask.kit.entries(bundle))
    batch = bundle["type"] == "batch"
    refusals = {i: refusal for i in range(len(entries)) if (refusal := _refusal(ask, entries, i, batch=batch))}
    if refusals and not batch:
        first = next(iter(refusals.values()))
        raise type(first)(*(fault for refusal in refusals.values() for fault in refusal.faults))
    allowed = [one for i, one in enumerate(entries) if i not in refusals and not (batch and one.reads)]
    look = inside.looker(ask, answerer)
    done = iter(
        ask.kit.transact(ask.kit.house, ask.caller, allowed, bundle_type=bundle["type"], look=look) if allowed else ()
    )
    results = [
        Result(0, refusal=refusals[i])
        if i in refusals
        else _read(ask, one, answerer)
        if batch and one.reads
        else next(done)
        for i, one in enumerate(entries)
    ]
    whole = conditions.returns(ask.headers) == "representation"
    written = [_entry(ask, one, entry, whole=whole) for entry, one in zip(entries, results, strict=True)]
    parts = _parts(ask, entries, results, batch=batch) if entries else (Part(bundle["type"], 200),)
    return Answer(200, bundles.joined({"type": f"{bundle['type']}-response"}, written), parts=parts)


def _read(ask: Ask, entry: Entry, answerer: Answerer) -> Result:
    """A read in a batch: it needs no transaction."""
    try:
        return inside.told(ask, entry, answerer)
    except Refusal as refusal:
        return Result(0, refusal=refusal.inside(entry.place))


def _parts(ask: Ask, entries: Sequence[Entry], results: Sequence[Result], *, batch: bool) -> tuple[Part, ...]:
    """The entries of a batch that only looked or were refused: what was written has its line in its transaction."""
    return tuple(
        Part(
            ATTEMPTS["GET" if entry.reads else entry.method] if one.refusal else inside.offered(ask, entry)[0].code,
            status(one.refusal)[0] if one.refusal else one.status,
            entry.type,
            entry.id,
            one.seen,
        )
        for entry, one in zip(entries, results, strict=True)
        if one.refusal is not None or (batch and entry.reads)
    )


def _bundle(ask: Ask) -> Json:
    """The body as a Bundle whose outside is sound; what its entries hold is checked where it is written."""
    bundle = ask.resource()
    if bundle["resourceType"] != "Bundle":
        raise Invalid(Fault("invalid", f"Send a {bundle['resourceType']} to its type; a Bundle is posted here."))
    if bundle.get("type") not in ("transaction", "batch"):  # it may be a list, which no set takes
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


def _refusal(ask: Ask, entries: Sequence[Entry], index: int, *, batch: bool) -> Refusal | None:
    """Why this entry may not be done at all, whatever it holds."""
    entry = entries[index]
    try:
        inside.offered(ask, entry)
    except Refusal as refusal:
        return refusal.inside(f"{entry.place}.request.url")
    try:
        if batch:
            independent(entries, index)
    except Refusal as refusal:
        return refusal
    return None


def _entry(ask: Ask, result: Result, entry: Entry, *, whole: bool) -> bytes:
    if result.refusal is not None:
        code, _ = status(result.refusal)
        return bundles.entry(ask.base, None, response={"status": str(code), "outcome": outcome(result.refusal)})
    response: Json = {"status": f"{result.status} {_REASONS.get(result.status, '')}".strip()}
    if isinstance(result.told, Answer):
        return bundles.told(result.told, response, head=entry.method == "HEAD")
    if result.stored is None:
        return bundles.entry(ask.base, None, response=response)
    version = result.stored
    if not version.deleted:
        response["location"] = answers.location(ask.base, version)
    response |= {"etag": answers.etag(version.version), "lastModified": version.updated}
    return bundles.entry(ask.base, version if whole and not version.deleted else None, response=response)
