"""What an exam event leaves behind into a message for $process-message, or a collection for a webhook."""

import uuid
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from service.fhir import exact, uris
from service.fhir.writing.delivery import bundle, full_url, reference_of

Json = dict[str, Any]
EVENTS = {
    "preliminary": "A preliminary report was issued",
    "finished": "The exam was finished: report, charges and invoice",
    "amended": "The report was amended",
    "withdrawn": "The exam was withdrawn",
    "cancelled": "The exam was cancelled with its order",
    "billed": "What waited was invoiced",
    "credited": "Something invoiced was credited",
    "urgent": "Who was told of an urgent finding changed",
}
"""What happens to an exam that others are told of."""
FOCUS = ("DiagnosticReport", "Invoice", "Communication", "Task")  # what a message is about, the first that is in it


def collection(resources: Sequence[Json], *, theirs: Iterable[Json], now: datetime, base: str, identifier: str) -> Json:
    """All of it in one Bundle that needs nothing else to be read: what the record system owns goes along.

    Its own resources bear their own identifiers, by which it knows them; the same arguments give the same Bundle."""
    along = {reference_of(one): one for one in theirs}
    ours = [*resources, *(one for key, one in along.items() if key not in {reference_of(r) for r in resources})]
    whole = bundle(ours, now=now, base=base, identifier=identifier)
    entries = [{key: value for key, value in one.items() if key != "request"} for one in whole["entry"]]
    return {**whole, "type": "collection", "entry": entries}


def message(
    resources: Sequence[Json], *, theirs: Iterable[Json], event: str, now: datetime, base: str, identifier: str
) -> Json:
    """The same as a message whose header says what happened; Bundle.identifier is the same at every attempt."""
    whole = collection(resources, theirs=theirs, now=now, base=base, identifier=identifier)
    about = next((one for type_ in FOCUS for one in resources if one["resourceType"] == type_), None)
    name = uuid.uuid5(uuid.NAMESPACE_URL, f"{uris.BASE}/MessageHeader/{identifier}")
    header: Json = {
        "resourceType": "MessageHeader",
        "eventCoding": {"system": uris.EXAM_EVENT, "code": event},
        "source": {"name": "Sonoledger", "endpoint": base},
    }
    if about is not None:
        header["focus"] = [{"reference": full_url(about)}]
    return {
        **whole,
        "type": "message",
        "entry": [{"fullUrl": f"urn:uuid:{name}", "resource": header}, *whole["entry"]],
    }


def webhook(whole: Json, *, event: str, now: datetime) -> Json:
    """The body of a webhook as Standard Webhooks 1.0.0 proposes it: type, timestamp, data."""
    return {"type": f"exam.{event}", "timestamp": exact.instant(now), "data": whole}
