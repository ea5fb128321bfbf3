"""An Invoice into what the books say of it."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from service.basics.errors import Fault, Invalid
from service.basics.money import Currency, Money
from service.billing.books import Booked, Rated
from service.fhir import uris
from service.fhir.reading.invoice import money

Json = dict[str, Any]


def booked(resource: Json, currencies: Mapping[str, Currency], *, day: str) -> Booked:
    """The invoice, dated on a local day. Raises Invalid for money that is not of one known currency or has more digits.

    An invoice without totals, written by hand, counts with what its other total says."""
    net = resource.get("totalNet") or resource.get("totalGross")
    gross = resource.get("totalGross") or net
    credited = _extension(resource, uris.X_CREDITS).get("valueReference", {})
    currency = {"value": 0, "currency": next(iter(currencies))}  # no total at all: nothing, of any currency
    found = Booked(
        id=str(resource["id"]),
        date=day,
        number=str(next((i.get("value", "") for i in resource.get("identifier", [])), "")),
        kind=_kind(resource),
        status=str(resource.get("status", "")),
        payer=_named(resource.get("recipient", {})),
        animal=_named(resource.get("subject", {})),
        exam=_exam(resource),
        credited=str(credited.get("display") or credited.get("reference", "")),
        net=money(net or currency, currencies),
        gross=money(gross or currency, currencies),
        rates=tuple(_rates(resource, currencies)),
        cash=_money(resource, uris.X_CASH_ROUNDING, currencies),
        stated=_money(resource, uris.X_DUE, currencies),
    )
    return _of_one_currency(found)


def _of_one_currency(one: Booked) -> Booked:
    amounts = [one.net, one.gross, one.cash, one.stated, *(m for r in one.rates for m in (r.base, r.tax))]
    if len({amount.currency for amount in amounts if amount is not None}) > 1:
        raise Invalid(Fault("value", "Its amounts are of several currencies.", "Invoice"))
    return one


def _money(resource: Json, url: str, currencies: Mapping[str, Currency]) -> Money | None:
    amount = _extension(resource, url).get("valueMoney")
    return money(amount, currencies) if amount else None


def _rates(resource: Json, currencies: Mapping[str, Currency]) -> list[Rated]:
    found: dict[tuple[str, Decimal], Json] = {}
    for part in resource.get("totalPriceComponent", []):
        rate = _extension(part, uris.X_TAX_RATE).get("valueDecimal")
        if rate is not None and "amount" in part:
            found.setdefault((_category(part), Decimal(rate)), {})[part["type"]] = money(part["amount"], currencies)
    return [
        Rated(category, rate, parts["base"], parts["tax"])
        for (category, rate), parts in found.items()
        if parts.keys() >= {"base", "tax"}
    ]


def _category(part: Json) -> str:
    codings = part.get("code", {}).get("coding", [])
    return str(next((c["code"] for c in codings if "code" in c), ""))


def _kind(resource: Json) -> str:
    codings = resource.get("type", {}).get("coding", [])
    return str(next((c["code"] for c in codings if c.get("system") == uris.INVOICE_TYPE), "invoice"))


def _exam(resource: Json) -> str:
    for line in resource.get("lineItem", []):
        for part in _extension(line, uris.X_LINE).get("extension", []):
            if part["url"] == "exam":
                return str(part["valueReference"]["reference"]).removeprefix("Task/")
    return ""


def _named(reference: Json) -> str:
    return str(reference.get("display") or reference.get("reference") or "")


def _extension(holder: Json, url: str) -> Json:
    found: Json = next((e for e in holder.get("extension", []) if e.get("url") == url), {})
    return found
