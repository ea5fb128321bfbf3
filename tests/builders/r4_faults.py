"""A valid resource -> copies with exactly one fault each, and the FHIRPath where it stands."""

from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from service.fhir.definitions import Definitions
from tests.builders.r4_walk import Json, Spot, Walk, at, beside, without

NUMBERS = ("integer", "positiveInt", "unsignedInt", "decimal")
DATES = ("date", "dateTime", "instant")
TEXTS = ("string", "code", "uri", "url", "canonical", "id", "markdown", *DATES, "time", "base64Binary", "oid", "uuid")
MIMES = "http://hl7.org/fhir/ValueSet/mimetypes|4.0.1"
SCRIPT = '<div xmlns="http://www.w3.org/1999/xhtml"><p>x</p><script>x()</script></div>'


class Faulty(NamedTuple):
    """A copy, the kind of its fault, the place that must be told, and what element was spoilt."""

    kind: str
    where: str
    resource: Any
    key: str


Maker = Callable[[Json, Spot], Iterator[tuple[str, Any]]]


def copies(definitions: Definitions, resource: Json) -> Iterator[Faulty]:
    """Every one-fault copy; lazily, for there are many."""
    for spot in Walk(definitions).resource(resource):
        for kind, maker in _makers(definitions).items():
            for where, changed in maker(resource, spot):
                yield Faulty(kind, where, changed, spot.key)


def _put(whole: Json, spot: Spot, value: Any) -> Any:
    return at(whole, spot.path, lambda _: value)


def _makers(definitions: Definitions) -> dict[str, Maker]:
    return {
        "unknown element": _unknown,
        "missing required": _missing,
        "code outside a binding": _Bound(definitions).codes,
        "wrong JSON type": _wrong_type,
        "one for many, many for one": _wrong_number,
        "bad date": _bad_date,
        "two choices": _two_choices,
        "empty": _empty,
        "bad id": _bad_id,
        "active narrative": _narrative,
        "dangling link": _dangling,
        "link to a wrong type": _Links(definitions).wrong,
        "value and absent reason": _absent,
        "extension of both": _both,
        "comparator": _comparator,
        "contained in contained": _contained,
        "period reversed": _reversed,
    }


def _unknown(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    if isinstance(spot.value, dict):
        yield f"{spot.place}.unheardOf", beside(whole, spot.path, unheardOf="x")


def _missing(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    last = spot.path[-1]
    twin = f"_{spot.name}" in _holder(whole, spot)
    if spot.element["min"] and not twin and last in (spot.name, 0):
        yield spot.place.removesuffix("[0]") if last == 0 else spot.place, without(whole, spot.path)


def _holder(whole: Json, spot: Spot) -> Json:
    found: Any = whole
    for step in spot.holder[0]:
        found = found[step]
    return dict(found)


class _Bound:
    """Codes that no required value set has."""

    def __init__(self, definitions: Definitions) -> None:
        self.definitions = definitions

    def codes(self, whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
        binding = spot.element.get("binding", {})
        if binding.get("strength") != "required":
            return
        known = self.definitions.codes.get(binding["valueSet"])
        if spot.type in ("code", "string", "uri") and known:
            yield spot.place, _put(whole, spot, "no-such-code")
            if spot.value.swapcase() != spot.value:
                yield spot.place, _put(whole, spot, spot.value.swapcase())
        elif spot.type == "CodeableConcept" and known:
            coding = [{"system": known[0][0], "code": "no-such-code"}]
            yield f"{spot.place}.coding", _put(whole, spot, spot.value | {"coding": coding})
        elif spot.element["path"] == "Money.currency":
            yield from ((spot.place, _put(whole, spot, code)) for code in ("EURO", "eur", "ZZZ", "QQQ"))
        elif binding["valueSet"] == MIMES:
            yield from ((spot.place, _put(whole, spot, text)) for text in ("text", "text/", "a b/c", "text/ plain"))


def _wrong_type(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    if spot.type in TEXTS or spot.type == "xhtml":
        yield spot.place, _put(whole, spot, 17)
        yield spot.place, _put(whole, spot, {"value": "x"})
    elif spot.type in NUMBERS:
        yield spot.place, _put(whole, spot, str(spot.value))
    elif spot.type == "boolean":
        yield spot.place, _put(whole, spot, str(spot.value).lower())
    elif isinstance(spot.value, dict) and "resourceType" not in spot.value:
        yield spot.place, _put(whole, spot, "x")
        yield spot.place, _put(whole, spot, True)


def _wrong_number(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    if isinstance(spot.path[-1], int):
        if spot.path[-1] == 0:
            place = spot.place.removesuffix("[0]")
            yield place, at(whole, spot.path[:-1], lambda items: items[0])
    else:
        yield spot.place, _put(whole, spot, [spot.value])


def _bad_date(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    if spot.type in DATES:
        for text in ("2026-02-30", "2026-13-01", "26-11-25", "2026-11-25T25:00:00Z", "2026-11-25T10:00:00", "x"):
            yield spot.place, _put(whole, spot, text)
    if spot.type == "time":
        yield spot.place, _put(whole, spot, "25:00:00")


def _two_choices(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    base = spot.element["path"].rpartition(".")[2]
    if not base.endswith("[x]") or spot.element["path"] == "Extension.value[x]":
        return
    samples = {"string": "x", "boolean": True, "dateTime": "2026", "CodeableConcept": {"text": "x"}, "integer": 1}
    samples |= {"Reference": {"display": "x"}, "Period": {"start": "2026"}, "Quantity": {"value": 1}, "date": "2026"}
    for kind, value in samples.items():
        codes = [t["code"] for t in spot.element["type"]]
        if kind in codes and kind != spot.type:
            more = {base[:-3] + kind[0].upper() + kind[1:]: value}
            yield spot.place, beside(whole, spot.holder[0], **more)
            return


def _empty(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    if isinstance(spot.path[-1], int) and spot.path[-1] == 0:
        yield spot.place.removesuffix("[0]"), at(whole, spot.path[:-1], lambda _: [])
    if isinstance(spot.value, dict) and "resourceType" not in spot.value:
        yield spot.place, _put(whole, spot, {})
    if isinstance(spot.value, str):
        yield spot.place, _put(whole, spot, "")
    yield spot.place, _put(whole, spot, None)


def _bad_id(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    if spot.element["path"].count(".") == 1 and spot.name == "id" and "resourceType" in _holder(whole, spot):
        for text in ("a b", "a/b", "a_b", "a" * 65, "", "\u00e4"):
            yield spot.place, _put(whole, spot, text)


def _narrative(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    if spot.element["path"] == "Narrative.div":
        yield spot.place, _put(whole, spot, SCRIPT)
        yield spot.place, _put(whole, spot, SCRIPT.replace("<script>x()</script>", '<p onclick="x()">x</p>'))
        yield spot.place, _put(whole, spot, SCRIPT.replace("<script>x()</script>", "<p>"))


def _dangling(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    if spot.element["path"] == "Reference.reference":
        yield spot.place, _put(whole, spot, "#nobody")


class _Links:
    """References to a type that their element does not take."""

    def __init__(self, definitions: Definitions) -> None:
        self.resources = sorted(name for name, kind in definitions.kinds.items() if kind == "resource")

    def wrong(self, whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
        if spot.type != "Reference":
            return
        targets = {p.rpartition("/")[2] for t in spot.element["type"] for p in t.get("targetProfile", ())}
        if not targets or targets & {"Resource", "DomainResource"}:
            return
        other = next(name for name in self.resources if name not in targets and name != "Bundle")
        for text in (f"{other}/1", f"https://x.example/fhir/{other}/1", f"{other}/1/_history/2", f"{other}?name=x"):
            yield f"{spot.place}.reference", _put(whole, spot, {"reference": text})
        yield f"{spot.place}.type", _put(whole, spot, {"type": other, "display": "x"})
        if not spot.holder[0] and "contained" not in whole:  # only the outermost resource may contain
            inner = whole | {"contained": [{"resourceType": "Basic", "id": "b", "code": {"text": "x"}}]}
            if "Basic" not in targets:
                yield f"{spot.place}.reference", at(inner, spot.path, lambda _: {"reference": "#b"})


def _absent(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    if spot.element["path"] == "Observation.value[x]":
        yield spot.holder[1], beside(whole, spot.holder[0], dataAbsentReason={"text": "x"})


def _both(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    if spot.type == "Extension":
        other = {"valueString": "x"} if "extension" in spot.value else {"extension": [{"url": "x", "valueCode": "x"}]}
        yield spot.place, beside(whole, spot.path, **other)
        yield spot.place, _put(whole, spot, {"url": spot.value["url"]})
        yield f"{spot.place}.url", without(whole, (*spot.path, "url"))


def _comparator(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    if spot.type == "Quantity":
        simple = any(t.get("profile") for t in spot.element["type"] if t["code"] == "Quantity")
        yield f"{spot.place}.comparator", beside(whole, spot.path, comparator="<" if simple else "!=")


def _contained(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    if spot.name == "contained":
        inner = [{"resourceType": "Basic", "id": "b", "code": {"text": "x"}}]
        yield f"{spot.place}.contained", beside(whole, spot.path, contained=inner)


def _reversed(whole: Json, spot: Spot) -> Iterator[tuple[str, Any]]:
    if spot.type == "Period":
        yield spot.place, _put(whole, spot, {"start": "2026-11-25", "end": "2026-11-24"})
        moments = {"start": "2026-11-25T10:00:00+02:00", "end": "2026-11-25T07:59:59Z"}
        yield spot.place, _put(whole, spot, moments)
