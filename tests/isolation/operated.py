"""The OperationDefinitions -> cases of each operation, with what is another organisation's in path and body."""

from collections.abc import Iterator, Mapping
from typing import Any
from urllib.parse import quote

from tests.isolation.cases import Case, text
from tests.isolation.world import House

Json = dict[str, Any]
AT = "2026-11-25T10:00:00Z"

# A code has no meaning here by itself: each parameter of type code says which ones are tried.
CODES: Mapping[str, tuple[str, ...]] = {
    "amend.status": ("corrected", "appended"),
    "finish.remaining": ("time-limited",),
    "referral.decision": ("accept", "reject", "schedule", "send"),
    "referral-animal.decision": ("same", "other"),
    "settle.disposition": ("seen", "not-seen"),
    "settle.reason": ("gas",),
    "settle.plane": ("long",),
    "settle.item": ("still",),
    "settle.sex": ("female",),
    "consent.method": ("voice", "message"),
    "estimate.expected": ("sedation", "x"),
    "urgent.finding": ("other",),
    "urgent.decision": ("confirmed", "declined"),
    "urgent-attempt.method": ("voice",),
    "urgent-acknowledge.method": ("voice",),
    "validate.mode": ("create", "update", "delete"),
    "everything._type": ("Observation", "Task"),
    "form.kind": ("pdf", "page", "text"),
    "print.kind": ("pdf", "page"),
    "print.language": ("en", "de"),
    "status.status": ("active", "requested", "error", "off"),
    "events.content": ("full-resource", "id-only"),
    "lastn.category": ("exam",),
    "lastn.code": ("x",),
}


def cases(definitions: Mapping[str, Json], house: House, filled: str, *, method: str, resource: Json) -> Iterator[Case]:
    """The operation at a path whose places are filled: bare, and with everything that it takes."""
    name = filled.rpartition("$")[2]
    takes = [p for p in definitions[name].get("parameter", []) if p["use"] == "in"]
    moves = name == "billing-check"
    if method == "GET":
        yield Case("GET", filled)
        values = [(p["name"], v) for p in takes for v in _texts(name, p, house, resource)]
        yield from (Case("GET", f"{filled}?{n}={quote(v)}") for n, v in values)
        return
    if name == "validate":
        yield Case("POST", filled, body=text(resource))
    yield Case("POST", filled, body=text({"resourceType": "Parameters"}), moves=moves)
    for turn in range(_turns(name, takes)):
        given = [made for p in takes if (made := _part(name, p, house, resource, turn))]
        yield Case("POST", filled, body=text({"resourceType": "Parameters", "parameter": given}), moves=moves)


def untold(definitions: Mapping[str, Json]) -> set[str]:
    """The parameters of type code of which nobody has said which codes are tried."""
    taken = {f"{n}.{p['name']}" for n, one in definitions.items() for p in _coded(one)}
    return taken - set(CODES)


def _coded(definition: Json) -> list[Json]:
    return [p for p in definition.get("parameter", []) if p["use"] == "in" and p.get("type") == "code"]


def _codes(name: str, parameter: Json) -> tuple[str, ...]:
    return CODES.get(f"{name}.{parameter['name']}", ("x",))


def _turns(name: str, takes: list[Json]) -> int:
    return max([1, *(len(_codes(name, p)) for p in takes if p.get("type") == "code")])


def _texts(name: str, parameter: Json, house: House, resource: Json) -> list[str]:
    if parameter["type"] == "code":
        return list(_codes(name, parameter))
    kinds = {"date": "2020-01-01", "instant": AT, "id": resource["id"], "positiveInt": "1", "integer": "1"}
    kinds |= {"boolean": "true", "string": "1", "uri": "https://x.example/p"}
    if parameter["type"] == "string" and parameter["name"] == "patient":
        return [f"Patient/{house.resources['Patient'][0]['id']}"]
    return [kinds.get(parameter["type"], str(resource["id"]))]


def _part(name: str, parameter: Json, house: House, resource: Json, turn: int) -> Json:
    kind = parameter.get("type", "")
    if "part" in parameter:
        parts = [made for p in parameter["part"] if (made := _part(name, p, house, resource, turn))]
        return {"name": parameter["name"], "part": parts}
    value = _value(name, parameter, house, resource, turn)
    if kind in ("Resource", "Any"):
        return {"name": parameter["name"], "resource": value}
    return {"name": parameter["name"], f"value{kind[0].upper()}{kind[1:]}": value}


def _value(name: str, parameter: Json, house: House, resource: Json, turn: int) -> Any:
    kind, first = parameter["type"], {t: kept[0] for t, kept in house.resources.items()}
    if kind == "code":
        codes = _codes(name, parameter)
        return codes[turn % len(codes)]
    if kind == "Reference":
        wanted = {"invoice": "Invoice"}.get(parameter["name"], "Practitioner")
        return {"reference": f"{wanted}/{first[wanted]['id']}"}
    if kind in ("Resource", "Any"):
        return {n: v for n, v in (resource if name == "validate" else first["Observation"]).items() if n != "contained"}
    return VALUES[kind](resource)


VALUES: Mapping[str, Any] = {
    "string": lambda one: str(one["id"]),
    "id": lambda one: one["id"],
    "uri": lambda _: "https://x.example/p",
    "canonical": lambda _: "https://x.example/p",
    "boolean": lambda _: True,
    "integer": lambda _: 1,
    "positiveInt": lambda _: 1,
    "decimal": lambda _: 1,
    "date": lambda _: "2026-11-25",
    "dateTime": lambda _: AT,
    "instant": lambda _: AT,
    "token": lambda _: "x",
    "Money": lambda _: {"value": 1, "currency": "EUR"},
    "CodeableConcept": lambda one: {"text": str(one["id"])},
    "Meta": lambda _: {"tag": [{"system": "https://x.example/tags", "code": "x"}]},
}
"""FHIR type -> a value; a type or code that isn't known here fails the suite."""
