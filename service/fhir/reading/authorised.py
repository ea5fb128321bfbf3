"""The pre-authorisations of a Coverage into everything that billing could not keep of them."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

from service.basics.errors import Fault, Refusal
from service.basics.money import MOST, Currency
from service.fhir import uris
from service.fhir.reading.invoice import money

Json = dict[str, Any]
TYPES = {"number": "valueString", "scope": "valueCode", "period": "valuePeriod", "amount": "valueMoney"}


def faults(cover: Json, *, charges: Collection[str], currencies: Mapping[str, Currency]) -> list[Fault]:
    """All that is wrong with what an insurer is said to have authorised. charges: every code that a line can have.

    What went by unseen would have the insurer pay nothing, or without a limit."""
    held = cover.get("extension", [])
    return [
        Fault("value", words, f"Coverage.extension[{index}].{place}")
        for index, one in enumerate(held)
        if one.get("url") == uris.X_AUTHORISATION
        for place, words in _told(one.get("extension", []), charges, currencies)
    ]


def _told(
    parts: Sequence[Json], charges: Collection[str], currencies: Mapping[str, Currency]
) -> Iterator[tuple[str, str]]:
    """(place, words) of each fault."""
    names = [str(part.get("url", "")) for part in parts]
    for index, (name, part) in enumerate(zip(names, parts, strict=True)):
        place = f"extension[{index}]"
        if name not in TYPES:
            yield f"{place}.url", f"A pre-authorisation has no part {name}; what it has: {', '.join(TYPES)}."
        elif TYPES[name] not in part:
            yield f"{place}.value", f"`{name}` of a pre-authorisation is a {TYPES[name]}."
        elif name != "scope" and name in names[:index]:
            yield place, f"A pre-authorisation has one `{name}` only."
        elif name == "scope" and part["valueCode"] not in charges:
            yield f"{place}.value", f"{part['valueCode']} is no charge code; it can be {', '.join(sorted(charges))}."
        elif name == "amount":
            yield from ((f"{place}.value.{end}", words) for end, words in _amount(part["valueMoney"], currencies))


def _amount(given: Json, currencies: Mapping[str, Currency]) -> Iterator[tuple[str, str]]:
    lost = [name for name in ("value", "currency") if name not in given]
    if lost:
        yield lost[0], f"The amount of a pre-authorisation needs its {' and '.join(lost)}."
        return
    if given["value"] <= 0:
        words = "without a limit it has no amount"
        yield "value", f"The amount of a pre-authorisation is above zero, not {given['value']}; {words}."
    if given["value"] >= MOST:
        yield "value", f"The amount of a pre-authorisation is below {MOST:,}."
        return
    try:
        money(given, currencies)
    except Refusal as refusal:
        yield from ((fault.where.removeprefix("Money."), fault.text) for fault in refusal.faults)
