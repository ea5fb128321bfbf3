"""A verdict on a measurement into its Observation: flag, the one range, or why there is none; the sender's is kept."""

from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Any

from service.exam import limit_words
from service.exam.limits import Limit
from service.exam.verdict import Verdict
from service.fhir import exact, uris

Json = dict[str, Any]
FLAGS = {"H": "High", "L": "Low", "N": "Normal"}
RANGE = {"low": "valueQuantity", "high": "valueQuantity", "type": "valueCodeableConcept", "age": "valueRange"}
OURS = frozenset({"extension", "interpretation", "referenceRange"})


def judged(element: Json, verdict: Verdict, *, species: Json) -> Json:
    """The Observation, or its component, with the verdict. species: the animal's, as a CodeableConcept.

    What the server wrote before gives way; what a sender says of its own is kept word for word, in extensions."""
    kept = [e for e in element.get("extension", ()) if e["url"] != uris.NOT_JUDGED]
    sent = [*_flags_sent(element), *_ranges_sent(element)]
    if sent:
        kept = [e for e in kept if e["url"] != uris.SENDER_JUDGEMENT]
        kept += [{"url": uris.SENDER_JUDGEMENT, "extension": parts} for parts in sent]
    if verdict.reason:
        kept.append({"url": uris.NOT_JUDGED, "valueString": verdict.reason})
    said: Json = {"extension": kept} if kept else {}
    if verdict.limit is not None:
        if verdict.flag:
            said["interpretation"] = [_flag(verdict, verdict.limit)]
        said["referenceRange"] = [_range(verdict.limit, species)]
    return {k: said.get(k, v) for k, v in element.items() if k not in OURS or k in said} | said


def _of_sender(given: Iterable[Json]) -> Iterator[Json]:
    """The flags or ranges that the server did not write."""
    for one in given:
        if not any(e.get("url") == uris.X_LIMIT for e in one.get("extension", ())):
            yield one


def _flags_sent(element: Json) -> Iterator[list[Json]]:
    for one in _of_sender(element.get("interpretation", ())):
        yield [{"url": "interpretation", "valueCodeableConcept": one}]


def _ranges_sent(element: Json) -> Iterator[list[Json]]:
    """Each range in parts; one that holds more than FHIR's own elements also as its exact text."""
    for one in _of_sender(element.get("referenceRange", ())):
        parts = [{"url": name, kind: one[name]} for name, kind in RANGE.items() if name in one]
        parts += [{"url": "appliesTo", "valueCodeableConcept": concept} for concept in one.get("appliesTo", ())]
        if "text" in one:
            parts.append({"url": "text", "valueString": one["text"]})
        if one.keys() - {*RANGE, "appliesTo", "text"}:
            parts.append({"url": "exact", "valueString": exact.encode(one).decode()})
        yield parts


def _marked(limit: Limit) -> list[Json]:
    """By which row it was judged; it also tells what the server wrote from what a sender did."""
    return [{"url": uris.X_LIMIT, "valueCode": limit.id}]


def _flag(verdict: Verdict, limit: Limit) -> Json:
    """The flag; one that is a hint only, for sources disagree or the value lies in a grey zone, says so in its text."""
    coding = {"system": uris.INTERPRETATION, "code": verdict.flag, "display": FLAGS[verdict.flag]}
    flag: Json = {"extension": _marked(limit), "coding": [coding]}
    hint = verdict.soft and verdict.flag != "N"
    return flag | {"text": f"{FLAGS[verdict.flag]}, a hint only"} if hint else flag


def _range(limit: Limit, species: Json) -> Json:
    """The range of the sides that flag, for whom it holds, and its source."""
    found: Json = {"extension": _marked(limit)}
    if "L" in limit.flags and limit.low is not None:
        found["low"] = _quantity(limit.low, limit.unit)
    if "H" in limit.flags and limit.high is not None:
        found["high"] = _quantity(limit.high, limit.unit)
    found["appliesTo"] = [species, *({"text": phrase} for phrase in limit_words.holds_for(limit))]
    if limit.age_min_months is not None:
        found["age"] = {"low": {"value": limit.age_min_months, "unit": "months", "system": uris.UCUM, "code": "mo"}}
    return found | {"text": limit_words.spoken(limit)}


def _quantity(value: Decimal, unit: str) -> Json:
    return {"value": value, "unit": limit_words.unit_words(unit) or unit, "system": uris.UCUM, "code": unit}
