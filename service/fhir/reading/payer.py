"""Whoever is billed into what an invoice prints of them: postal address and tax number."""

from typing import Any

from service.fhir import uris

Json = dict[str, Any]
TAX = "TAX"  # of HL7's table 0203: a tax identification number


def postal_address(resource: Json) -> str:
    """The address for bills, else the first that is not old, line by line; "" when there is none."""
    found = [one for one in _listed(resource.get("address")) if one.get("use") != "old"]
    one = next((a for a in found if a.get("use") == "billing"), found[0] if found else {})
    if one.get("text"):
        return str(one["text"])
    place = " ".join(str(one[part]) for part in ("postalCode", "city") if one.get(part))
    lines = [*one.get("line", []), place, one.get("state", ""), one.get("country", "")]
    return "\n".join(str(line) for line in lines if line)


def tax_number(resource: Json) -> str:
    """The value of the identifier whose type is TAX; "" when there is none."""
    for one in _listed(resource.get("identifier")):
        kinds = {(c.get("system"), c.get("code")) for c in one.get("type", {}).get("coding", [])}
        if (uris.IDENTIFIER_TYPE, TAX) in kinds and one.get("value"):
            return str(one["value"])
    return ""


def _listed(value: Any) -> list[Json]:
    return value if isinstance(value, list) else []
