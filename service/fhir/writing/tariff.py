"""One row of the price list into its ChargeItemDefinition."""

from collections.abc import Iterator
from hashlib import sha256
from typing import Any

from service.billing.situation import Conditions
from service.billing.tariff import Price
from service.fhir import uris
from service.fhir.writing.conformance import heading
from service.fhir.writing.invoice_line import money, tax

Json = dict[str, Any]
_LONGEST = 64


def charge_item_definition(price: Price, *, version: str) -> Json:
    """What a charge code costs while the row is valid and its conditions hold.

    The conditions are FHIRPath on the ChargeItem (%context), which bears what they ask for."""
    url = f"{uris.BASE}/ChargeItemDefinition/{_id(price)}"
    period = {"start": price.valid_from.isoformat()}
    if price.valid_to:
        period["end"] = price.valid_to.isoformat()
    conditions = [
        {"description": words, "language": "text/fhirpath", "expression": expression}
        for words, expression in applicability(price.when)
    ]
    return {
        **heading("ChargeItemDefinition", _id(price), price.text, url=url, version=version, named=False),
        "description": _description(price),
        "effectivePeriod": period,
        "code": {"coding": [{"system": uris.CHARGE, "code": price.code, "display": price.text}], "text": price.text},
        **({"applicability": conditions} if conditions else {}),
        "propertyGroup": [{"priceComponent": list(_components(price))}],
    }


def applicability(when: Conditions) -> Iterator[tuple[str, str]]:
    """(words, FHIRPath) of each condition that the ChargeItem must fulfil."""
    yield from _any_of("scope", when.scopes, "Exam")
    yield from _any_of("species", (when.species,) if when.species else (), "Species")
    yield from _any_of("priority", when.priorities, "Priority of the order")
    yield from _any_of("hours", (when.hours,) if when.hours else (), "Opening hours")
    yield from _any_of("grade", when.grades, "Grade of who performed it")
    yield from _any_of("requester", when.requesters, "Requested by")
    if when.weight_from is not None:
        yield f"Weight from {when.weight_from:f} kg", f"{_fact('weight')} >= {when.weight_from:f}"
    if when.weight_below is not None:
        yield f"Weight below {when.weight_below:f} kg", f"{_fact('weight')} < {when.weight_below:f}"


def _any_of(name: str, words: tuple[str, ...], title: str) -> Iterator[tuple[str, str]]:
    if words:
        tests = [f"{_fact(name)}.where($this = '{_quoted(word)}').exists()" for word in words]
        yield f"{title}: {', '.join(words)}", " or ".join(tests)


def _fact(name: str) -> str:
    return f"%context.extension.where(url = '{uris.X_SITUATION}').extension.where(url = '{name}').value"


def _quoted(word: str) -> str:
    return word.replace("\\", "\\\\").replace("'", "\\'")


def _components(price: Price) -> Iterator[Json]:
    if price.surcharge is not None:
        words = {"text": f"{price.surcharge.percent:f} % of lines of these kinds: {', '.join(price.surcharge.of)}"}
        yield {"type": "surcharge", "code": words, "factor": price.surcharge.percent.scaleb(-2)}
    else:
        yield {"type": "base", "amount": money(price.unit)}
    if price.discount is not None:
        yield {
            "type": "discount",
            "code": {"text": price.discount.reason},
            "factor": price.discount.percent.scaleb(-2),
        }
    yield tax(price.tax, None)


def _description(price: Price) -> str:
    basis = "The price includes tax" if price.basis == "gross" else "The price is without tax"
    parts = [basis, f"charged once per {price.quantity}, to the {price.payer}"]
    if price.cap:
        parts.append(f"at most {price.cap}")
    if price.exclusive_with:
        parts.append(f"not together with {', '.join(price.exclusive_with)}")
    if price.part_of:
        parts.append(f"a part of {price.part_of}")
    if price.kind == "outside":
        parts.append("an outside fee")
    return f"{'; '.join(parts)}."


def _id(price: Price) -> str:
    own = "" if price.organization == "*" else f"-{price.organization}"
    names = [price.part_of, price.code, price.variant]
    name = "-".join(n.replace("_", "-") for n in names if n)
    text = f"{name}-{price.valid_from.isoformat()}{own}"
    return text if len(text) <= _LONGEST else sha256(text.encode()).hexdigest()
