"""A ChargeItem of ours into the Charge that it stands for."""

from typing import Any

from service.billing.charge import Charge, Identity
from service.fhir import uris

Json = dict[str, Any]


def read_charge(resource: Json) -> Charge | None:
    """The charge; None for a ChargeItem that is not ours (it bears no charge identity)."""
    values = [i.get("value", "") for i in resource.get("identifier", []) if i.get("system") == uris.CHARGE_ID]
    if not values:
        return None
    order, code, organization, correction = values[0].rsplit("|", 3)
    return Charge(
        id=resource["id"],
        identity=Identity(order, code, organization, int(correction)),
        text=resource["code"].get("text", code),
        status=resource["status"],
        quantity=int(resource.get("quantity", {}).get("value", 1)),
    )
