"""What must hold of all invoices and charges of a practice at any moment, whatever was done to it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from service.fhir import uris

Json = dict[str, Any]
ENDED = frozenset({"aborted", "entered-in-error"})


@dataclass
class Paper:
    """An Invoice as these rules look at it: amounts by (category, rate), net by charge."""

    id: str
    number: str
    date: str
    exam: str
    payer: str
    credits: str
    rates: dict[tuple[str, Decimal], tuple[Decimal, Decimal]]
    charges: dict[str, Decimal]
    totals: tuple[Decimal, Decimal]
    taken: list["Paper"] = field(default_factory=list)  # the credits of an invoice

    @property
    def left(self) -> tuple[Decimal, Decimal]:
        """(net, gross) of what no credit has taken back."""
        net, gross = (self.totals[n] + sum(c.totals[n] for c in self.taken) for n in (0, 1))
        return net, gross

    @property
    def stands(self) -> bool:
        return self.left != (0, 0)


def papers(invoices: Iterable[Json]) -> list[Paper]:
    """The invoices, each with its credits; faults in how they hang together are found by `faults`."""
    found = [_paper(one) for one in invoices]
    by_id = {one.id: one for one in found}
    for one in found:
        if one.credits:
            by_id[one.credits].taken.append(one)
    return [one for one in found if not one.credits]


def faults(invoices: Sequence[Json], charges: Sequence[Json]) -> list[str]:
    """Everything that is wrong with them, in words."""
    return [*_numbers(invoices), *_sums(invoices), *_remainders(papers(invoices)), *_once(papers(invoices), charges)]


def _numbers(invoices: Sequence[Json]) -> Iterable[str]:
    """Each year's numbers run from one without a gap, in the order of their dates."""
    by_year: dict[str, list[tuple[int, str]]] = {}
    for one in invoices:
        year, _, number = str(one["identifier"][0]["value"]).partition("-")
        by_year.setdefault(year, []).append((int(number), str(one["date"])))
        if not str(one["date"]).startswith(year):
            yield f"{one['identifier'][0]['value']} is dated {one['date']}"
    for year, drawn in by_year.items():
        drawn.sort()
        if [n for n, _ in drawn] != list(range(1, len(drawn) + 1)):
            yield f"the numbers of {year} are {drawn}"
        if [d for _, d in drawn] != sorted(d for _, d in drawn):
            yield f"the dates of {year} do not rise with the numbers: {drawn}"


def _sums(invoices: Sequence[Json]) -> Iterable[str]:
    for one in map(_paper, invoices):
        net, tax = (sum(parts[n] for parts in one.rates.values()) for n in (0, 1))
        if (net, net + tax) != one.totals or net != sum(one.charges.values()):
            yield f"{one.number} does not add up: {one}"


def _remainders(found: Sequence[Paper]) -> Iterable[str]:
    """No credit takes back more than there was, of any rate or charge, and a whole one takes all of each."""
    for one in found:
        for key, parts in one.rates.items():
            rest = [parts[n] + sum(c.rates.get(key, (0, 0))[n] for c in one.taken) for n in (0, 1)]
            if min(rest) < 0 or (not one.stands and rest != [0, 0]):
                yield f"{one.number}: {rest} is left of {key}"
        for id_, net in one.charges.items():
            if net + sum(c.charges.get(id_, Decimal(0)) for c in one.taken) < 0:
                yield f"{one.number}: more than all of ChargeItem/{id_} was taken back"


def _once(found: Sequence[Paper], charges: Sequence[Json]) -> Iterable[str]:
    """No charge stands on two invoices, and what each stands on says so by its state."""
    state = {one["id"]: str(one["status"]) for one in charges}
    identities = [one["identifier"][0]["value"] for one in charges]
    if len(set(identities)) != len(identities):
        yield f"two charges have one identity: {sorted(identities)}"
    on: dict[str, list[Paper]] = {}
    for one in found:
        for id_ in one.charges:
            on.setdefault(id_, []).append(one)
    for id_, several in on.items():
        if len(several) > 1:
            yield f"ChargeItem/{id_} stands on {[one.number for one in several]}"
        rest = several[0].charges[id_] + sum(c.charges.get(id_, Decimal(0)) for c in several[0].taken)
        if rest != 0 and state.get(id_) != "billed":
            yield f"ChargeItem/{id_} is {state.get(id_)} and {rest} of it stands on {several[0].number}"
    for id_, status in state.items():
        if status == "billed" and id_ not in on:
            yield f"ChargeItem/{id_} is billed and on no invoice"
    open_: dict[str, str] = {}  # order and charge -> its one charge that has not ended
    for one in charges:
        key = str(one["identifier"][0]["value"]).rpartition("|")[0]
        if one["status"] not in ENDED and open_.setdefault(key, one["id"]) != one["id"]:
            yield f"{key} is charged twice"


def standing(found: Sequence[Paper]) -> Mapping[tuple[str, str], list[Paper]]:
    """The invoices that were not taken back in full, by exam and payer."""
    by_payer: dict[tuple[str, str], list[Paper]] = {}
    for one in found:
        if one.stands:
            by_payer.setdefault((one.exam, one.payer), []).append(one)
    return by_payer


def _paper(resource: Json) -> Paper:
    parts: dict[tuple[str, Decimal], list[Decimal]] = {}
    for part in (one for one in resource["totalPriceComponent"] if one["type"] != "informational"):
        rate = next(x["valueDecimal"] for x in part["extension"] if x["url"] == uris.X_TAX_RATE)
        category = part["code"]["coding"][0]["code"]
        parts.setdefault((category, Decimal(rate)), []).append(part["amount"]["value"])
    charges: dict[str, Decimal] = {}
    for item in resource["lineItem"]:
        id_ = item["chargeItemReference"]["reference"].partition("/")[2]
        net = sum(
            c["amount"]["value"] for c in item["priceComponent"] if c["type"] in {"base", "surcharge", "discount"}
        )
        charges[id_] = charges.get(id_, Decimal(0)) + net
    extensions = {x["url"]: x for x in resource.get("extension", [])}
    credited = extensions.get(uris.X_CREDITS, {}).get("valueReference", {}).get("reference", "")
    line = {x["url"]: x for x in resource["lineItem"][0]["extension"]}[uris.X_LINE]["extension"]
    return Paper(
        id=resource["id"],
        number=resource["identifier"][0]["value"],
        date=resource["date"],
        exam=next(p["valueReference"]["reference"] for p in line if p["url"] == "exam").partition("/")[2],
        payer=resource["recipient"]["reference"],
        credits=credited.partition("/")[2],
        rates={key: (net, tax) for key, (net, tax) in parts.items()},
        charges=charges,
        totals=(resource["totalNet"]["value"], resource["totalGross"]["value"]),
    )
