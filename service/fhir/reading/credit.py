"""The lines of a $credit into what is wanted of each, or everything that is wrong with them."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from service.basics.errors import Fault, Invalid, Refusal
from service.basics.money import MOST, Currency, Money
from service.billing.partial_credit import Wanted
from service.fhir.reading.invoice import money

Json = dict[str, Any]


def wanted(parameters: Json, currencies: Mapping[str, Currency]) -> tuple[list[Wanted], list[Fault]]:
    """What each parameter `line` wants to be taken back, in order, and all faults."""
    found: list[Wanted] = []
    faults: list[Fault] = []
    given = [p for p in parameters.get("parameter", []) if isinstance(p, dict) and p.get("name") == "line"]
    for index, one in enumerate(given):
        where = f"Parameters.parameter.where(name='line')[{index}]"
        parts = {str(p.get("name", "")): p for p in one.get("part", [])}
        number = _value(parts.get("sequence", {}))
        if not isinstance(number, int) or isinstance(number, bool):
            faults.append(Fault("required", "Say which line of the invoice, in the part `sequence`.", where))
            continue
        try:
            found.append(Wanted(number, _quantity(parts), _amount(parts, currencies)))
        except Refusal as refusal:
            faults += [Fault(f.reason, f.text, where) for f in refusal.faults]
    return found, faults


def _quantity(parts: Mapping[str, Json]) -> Decimal | None:
    value = _value(parts.get("quantity", {}))
    return Decimal(value) if isinstance(value, (int, Decimal)) else None


def _amount(parts: Mapping[str, Json], currencies: Mapping[str, Currency]) -> Money | None:
    if "amount" not in parts:
        return None
    value = _value(parts["amount"])
    if not isinstance(value, dict) or not {"value", "currency"} <= value.keys():
        raise Invalid(Fault("value", "`amount` is a Money with value and currency."))
    if value["value"] >= MOST:
        raise Invalid(Fault("value", f"`amount` is below {MOST:,}."))
    return money(value, currencies)


def _value(part: Json) -> Any:
    return next((value for key, value in part.items() if key.startswith("value")), None)
