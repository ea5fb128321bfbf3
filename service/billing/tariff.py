"""The price list: what a charge costs, when, for which exam, with which tax."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from service.basics.money import Money
from service.billing.situation import Conditions, Situation

NEEDS_REASON = frozenset({"E", "O", "AE", "K", "G"})  # EN 16931: BR-E-10, BR-O-10, BR-AE-10, BR-IC-10, BR-G-10
NEEDS_BUYER = frozenset({"AE", "K"})  # BR-AE-02, BR-IC-02: who is billed owes the tax, and their number is printed


@dataclass(frozen=True, slots=True, order=True)
class Tax:
    """category: the letter of EN 16931's BT-118; rate in percent.

    S standard, Z zero, E exempt, O outside tax, AE reverse charge, K within the Community, G export."""

    rate: Decimal
    category: str = "S"
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Surcharge:
    """A share (percent) of what the lines of these kinds come to: exam, service, drug, outside."""

    percent: Decimal
    of: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Discount:
    """A share (percent) that is taken off, never without a reason."""

    percent: Decimal
    reason: str


@dataclass(frozen=True, slots=True)
class Price:
    """One row. valid_to is the last day, None while open; organization "*" holds for all without a row of their own.

    unit is net, or with basis "gross" what is shown and includes tax; zero with a surcharge. quantity: exam (once),
    site, procedure or visit (once a visit), of which at most `cap` are charged. Where exclusive_with is charged too,
    this one is not. kind: exam, service, drug, outside. part_of: the charge whose bundle this is a part of. payer:
    client, requester or insurer."""

    code: str
    text: str
    unit: Money
    tax: Tax
    valid_from: date
    valid_to: date | None = None
    organization: str = "*"
    variant: str = ""
    basis: str = "net"
    when: Conditions = field(default_factory=Conditions)
    quantity: str = "exam"
    cap: int | None = None
    exclusive_with: tuple[str, ...] = ()
    surcharge: Surcharge | None = None
    discount: Discount | None = None
    kind: str = "service"
    part_of: str = ""
    payer: str = "client"

    def in_force(self, on: date) -> bool:
        """Whether the row is valid on a day."""
        return self.valid_from <= on and (self.valid_to is None or on <= self.valid_to)

    def together(self, other: "Price") -> bool:
        """Whether some exam on some day would find both rows."""
        same = (self.code, self.organization, self.part_of) == (other.code, other.organization, other.part_of)
        first, last = max(self.valid_from, other.valid_from), min(self.valid_to or date.max, other.valid_to or date.max)
        return same and first <= last and not self.when.apart(other.when)


def listed(prices: Iterable[Price], code: str, *, organization: str) -> list[Price]:
    """All rows of a charge code that hold for an organisation, of any day; those of bundles' parts are not among them.

    An organisation that has any row of its own for the code is never given the price of "*": an expired own price
    is a missing price, not somebody else's."""
    rows = [p for p in prices if p.code == code and not p.part_of and p.organization in {organization, "*"}]
    return [p for p in rows if p.organization == organization] or rows


def price_in_force(
    prices: Iterable[Price], code: str, *, organization: str, on: date, at: Situation | None = None
) -> Price | str:
    """The one price of a charge code on a day for an exam, or in words why there is none. Nobody guesses."""
    at = at or Situation()
    valid = [p for p in listed(prices, code, organization=organization) if p.in_force(on)]
    if not valid:
        return f"The price list has no price for {code} on {on.isoformat()}."
    found = [p for p in valid if p.when.hold(at)]
    if len(found) == 1:
        return found[0]
    if found:
        return f"The price list has {len(found)} prices for {code} that all apply."
    missing = sorted({m for p in valid if (m := p.when.unknown(at))})
    if missing:
        return f"The price of {code} depends on what is not known: {', '.join(missing)}."
    return f"The price list has no price for {code} that applies to this exam."


def concerns(prices: Iterable[Price], code: str, *, organization: str, on: date | None, at: Situation) -> bool:
    """Whether a charge that only a price list makes one can be due for an exam: not where no row of it can apply.

    Where its rows have run out, or hang on what is not known, it is due: nobody forgets it in silence."""
    rows = [p for p in listed(prices, code, organization=organization) if on is None or p.valid_from <= on]
    valid = [p for p in rows if on is not None and p.in_force(on)]
    return any(p.when.hold(at) or p.when.unknown(at) for p in valid) if valid else bool(rows)


def parts_of(prices: Iterable[Price], whole: Price, *, on: date) -> Sequence[Price]:
    """The parts by which a bundle is itemised; empty for what is no bundle."""
    return [p for p in prices if p.part_of == whole.code and p.organization == whole.organization and p.in_force(on)]


def per_visit(prices: Iterable[Price], code: str, *, organization: str, on: date | None) -> bool:
    """Whether a charge is made once a visit, whatever number of exams the visit has."""
    rows = listed(prices, code, organization=organization)
    return any(p.quantity == "visit" for p in rows if on is None or p.in_force(on))
