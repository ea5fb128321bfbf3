"""One row of the price list into its ChargeItemDefinition."""

from hashlib import sha256
from typing import Any

from service.billing.tariff import Price
from service.fhir import uris
from service.fhir.writing.conformance import heading

Json = dict[str, Any]
_LONGEST = 64


def charge_item_definition(price: Price, *, version: str) -> Json:
    """What a charge code costs while the row is valid: net price, and tax with its rate as a factor."""
    url = f"{uris.BASE}/ChargeItemDefinition/{_id(price)}"
    period = {"start": price.valid_from.isoformat()}
    if price.valid_to:
        period["end"] = price.valid_to.isoformat()
    currency = price.net.currency.code
    when: Json = {"description": f"Only when the exam shows: {price.trigger}."} if price.trigger else {}
    return {
        **heading("ChargeItemDefinition", _id(price), price.text, url=url, version=version, named=False),
        **when,
        "effectivePeriod": period,
        "code": {"coding": [{"system": uris.CHARGE, "code": price.code, "display": price.text}], "text": price.text},
        "propertyGroup": [
            {
                "priceComponent": [
                    {"type": "base", "amount": {"value": price.net.decimal(), "currency": currency}},
                    {"type": "tax", "code": {"text": "Tax"}, "factor": price.tax_rate / 100},
                ]
            }
        ],
    }


def _id(price: Price) -> str:
    own = "" if price.organization == "*" else f"-{price.organization}"
    text = f"{price.code.replace('_', '-')}-{price.valid_from.isoformat()}{own}"
    return text if len(text) <= _LONGEST else sha256(text.encode()).hexdigest()
