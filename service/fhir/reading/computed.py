"""An Observation into what only computing says of it: by which formula, with which digits, or what it should be."""

from decimal import Decimal
from typing import Any

from service.fhir import uris

Json = dict[str, Any]


def formula(resource: Json) -> str:
    """The key of the formula by which this service computed an Observation; "" for every other.

    Ours bears our identifier with its own id: one that came from elsewhere was sent."""
    own = {"system": uris.ID, "value": resource.get("id", "")}
    return claimed(resource) if own in resource.get("identifier", []) else ""


def claimed(resource: Json) -> str:
    """The key of the formula that an Observation says it was computed by, whoever did."""
    codings = resource.get("method", {}).get("coding", [])
    return next((str(c.get("code", "")) for c in codings if c.get("system") == uris.FORMULA), "")


def computed(resource: Json, element: Json) -> dict[str, Any]:
    """The fields of a sighting that only computing fills. element: the Observation, or one component of it."""
    key, extensions = formula(resource), element.get("extension", [])
    digits = [e["valueDecimal"] for e in extensions if key and e.get("url") == uris.X_UNROUNDED and "valueDecimal" in e]
    marks = [e.get("valueReference", {}) for e in extensions if e.get("url") == uris.X_DIFFERS]
    return {
        "formula": key,
        "unrounded": Decimal(digits[0]) if digits else None,
        "readings": _readings(resource) if key else 0,
        "differs": tuple(str(m.get("display", "")) for m in marks),
    }


def _readings(resource: Json) -> int:
    """Of how many readings it is the mean."""
    parts = ((p, c) for p in resource.get("component", []) for c in p.get("code", {}).get("coding", []))
    found = (p["valueInteger"] for p, c in parts if (c.get("system"), c.get("code")) == (uris.ITEM, "readings"))
    return int(next(found, 0))
