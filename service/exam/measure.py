"""A measurement as sent into a judgement of whether it can be true."""

from decimal import Decimal

from service.basics.errors import Fault
from service.exam.rules import MeasureRule

# UCUM code -> (dimension, factor to the dimension's base unit, exact); ratios of the same dimension are exact decimals
UNITS: dict[str, tuple[str, Decimal]] = {
    "um": ("length", Decimal("0.001")),
    "mm": ("length", Decimal(1)),
    "cm": ("length", Decimal(10)),
    "dm": ("length", Decimal(100)),
    "m": ("length", Decimal(1000)),
    "mm2": ("area", Decimal(1)),
    "cm2": ("area", Decimal(100)),
    "mm3": ("volume", Decimal("0.001")),
    "uL": ("volume", Decimal("0.001")),
    "cm3": ("volume", Decimal(1)),
    "mL": ("volume", Decimal(1)),
    "ml": ("volume", Decimal(1)),
    "dL": ("volume", Decimal(100)),
    "L": ("volume", Decimal(1000)),
    "l": ("volume", Decimal(1000)),
    "mm/s": ("speed", Decimal("0.1")),
    "cm/s": ("speed", Decimal(1)),
    "m/s": ("speed", Decimal(100)),
    "/min": ("rate", Decimal(1)),
    "{beats}/min": ("rate", Decimal(1)),
    "/s": ("rate", Decimal(60)),
    "Hz": ("rate", Decimal(60)),
    "1": ("number", Decimal(1)),
    "%": ("number", Decimal("0.01")),
    "g": ("mass", Decimal("0.001")),
    "kg": ("mass", Decimal(1)),
    "s": ("time", Decimal(1)),
    "ms": ("time", Decimal("0.001")),
}


def implausible(quantity: Decimal, unit: str, *, rule: MeasureRule, confirmed: bool = False) -> Fault | None:
    """What is wrong with a measurement in a UCUM unit: not comparable with the rule's unit, or outside its bounds.

    A value outside the bounds is taken when a person confirmed it; an unusable unit never is."""
    if unit == rule.unit:
        value = quantity
    else:
        given, wanted = _unit(unit), _unit(rule.unit)
        if given is None or wanted is None or given[0] != wanted[0]:
            said = f'"{unit}"' if unit else "no unit"
            text = f"{rule.title} with {said} cannot be compared: send it in {rule.unit} (UCUM system and code)."
            return Fault("value", text, "Observation.valueQuantity.code")
        value = quantity * given[1] / wanted[1]
    if confirmed or rule.low <= value <= rule.high:
        return None
    text = (
        f"{rule.title} of {quantity} {unit} lies outside what is plausible ({rule.low} to {rule.high} {rule.unit}); "
        "check the unit, or send it again with the extension that says a person confirmed it."
    )
    return Fault("business-rule", text, "Observation.valueQuantity.value")


def _unit(code: str) -> tuple[str, Decimal] | None:
    found = UNITS.get(code)
    if found is None and code.startswith("{") and code.endswith("}"):
        return UNITS["1"]  # an annotation alone is the unity in UCUM
    return found
