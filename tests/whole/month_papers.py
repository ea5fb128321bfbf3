"""The price list of the invented month as files to import, and its Invoices as they can be compared."""

from dataclasses import dataclass
from typing import Any

from service.fhir import uris
from tests.builders import orders, reckoning
from tests.builders.tariff_rows import row, tariff
from tests.whole.telling import Desk, Json

PAYERS = {"client": "client", "clinic": "requester", "insurer": "insurer"}
COUNTED = {
    "sample": {"quantity": "site", "cap": str(reckoning.MOST_SAMPLES)},
    "cystocentesis": {"quantity": "procedure"},
}
INSURER = {
    "resourceType": "Organization",
    "name": "Invented Animal Cover",
    "identifier": [{"system": f"{orders.RECORDS}/insurer", "value": "cover-1"}],
}
Rates = dict[int, tuple[int, int]]


@dataclass(frozen=True)
class Paper:
    """One invoice or credit as it was reckoned: its day there, whose it is, what it comes to by percent of tax, and
    what rounding to coins adds."""

    day: str
    kind: str
    payer: str
    rates: Rates
    cash: int = 0


def prices(*, rise: bool) -> str:
    """The practice's own price list as a file to import: as it began, or what became dearer in mid-month."""
    found = []
    for code, (before, after, percent, includes, payer) in reckoning.LIST.items():
        kind = "exam" if code in reckoning.EXAMS else "service"
        rest = {
            "kind": kind,
            "organization": "",
            "basis": "gross" if includes else "net",
            "payer": PAYERS[payer],
            **COUNTED.get(code, {}),
        }
        rest["tax_rate"] = str(percent)
        if rise and before != after:
            found.append(row(code, amount=reckoning.text(after), valid_from=reckoning.RISE, **rest))
        elif not rise:
            found.append(row(code, amount=reckoning.text(before), **rest))
    if not rise:
        share = str(reckoning.SHARE * 100)
        found.append(row("out-of-hours", amount="", surcharge=share, surcharge_on="exam service", organization=""))
    return tariff(*found)


def filed(desk: Desk) -> list[Json]:
    """The invoices and credits that the service has, in the order of their numbers."""
    return sorted(desk.search("Invoice"), key=lambda one: str(one["identifier"][0]["value"]))


def paper(resource: Json) -> Paper:
    """An Invoice as it can be compared with what was reckoned."""
    who = resource["recipient"]
    payer = {"Invented Clinic": "clinic", INSURER["name"]: "insurer"}.get(who["display"], "client")
    parts: dict[int, list[int]] = {}
    for part in (one for one in resource["totalPriceComponent"] if one["type"] != "informational"):
        percent = next(int(x["valueDecimal"]) for x in part["extension"] if x["url"] == uris.X_TAX_RATE)
        parts.setdefault(percent, []).append(int(part["amount"]["value"] * 100))
    kind = resource["type"]["coding"][0]["code"]
    cash = next(int(x["valueMoney"]["value"] * 100) for x in resource["extension"] if x["url"] == uris.X_CASH_ROUNDING)
    return Paper(resource["date"][:10], kind, payer, {p: (net, tax) for p, (net, tax) in parts.items()}, cash)


def digits(resource: Json) -> Any:
    """All that is printed of an Invoice, every digit as text, without the ids that differ from play to play."""
    lines = [
        [
            (c["type"], str(c.get("factor", "")), str(c.get("amount", {}).get("value", "")))
            for c in item["priceComponent"]
        ]
        for item in resource["lineItem"]
    ]
    totals = [str(resource[name]["value"]) for name in ("totalNet", "totalGross")]
    return resource["identifier"][0]["value"], resource["date"], resource["recipient"]["display"], lines, totals
