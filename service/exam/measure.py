"""A measurement as sent into a judgement of whether it can be true."""

from collections.abc import Mapping
from decimal import Decimal

from service.basics.errors import Fault
from service.exam.rules import MeasureRule

Units = Mapping[tuple[str, str], Decimal]  # (unit of the rule, UCUM unit sent) -> exact factor to the rule's unit


def implausible(
    quantity: Decimal, unit: str, *, rule: MeasureRule, units: Units, confirmed: bool = False
) -> Fault | None:
    """What is wrong with a measurement in a UCUM unit: not comparable with the rule's unit, or outside its bounds.

    A value outside the bounds is taken when a person confirmed it; an unusable unit never is."""
    factor = Decimal(1) if unit == rule.unit else units.get((rule.unit, unit))
    if factor is None:
        said = f'in "{unit}"' if unit else "without a UCUM unit"
        known = ", ".join(dict.fromkeys([rule.unit, *sorted(sent for own, sent in units if own == rule.unit)]))
        text = f"{rule.title} {said} cannot be compared: send it in {known}, with the UCUM system and code."
        return Fault("value", text, "Observation.valueQuantity.code")
    if confirmed or rule.low <= quantity * factor <= rule.high:
        return None
    text = (
        f"{rule.title} of {quantity} {unit} lies outside what is plausible ({rule.low} to {rule.high} {rule.unit}); "
        "check the unit, or send it again with the extension that says a person confirmed it."
    )
    return Fault("business-rule", text, "Observation.valueQuantity.value")
