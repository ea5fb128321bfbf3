"""What an insurer authorised before an exam, and whether that holds on a day and for a line."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from service.basics.money import Money
from service.billing.invoice import Line, add, tax_groups

ADMINISTRATION = "claim-admin"  # what a practice asks for making a direct claim


@dataclass(frozen=True, slots=True)
class Authorisation:
    """A pre-authorisation. scope: charge codes, none for all; first and last day, None while open.

    held: what is promised, tax included, None without a limit; spent: what invoices under its number come to already.
    fault: why it can't be used at all, in words."""

    number: str
    scope: tuple[str, ...] = ()
    first: date | None = None
    last: date | None = None
    held: Money | None = None
    spent: Money | None = None
    fault: str = ""

    def names(self, code: str) -> bool:
        """Whether it is for a charge; making the claim is so only where it says so."""
        return code in self.scope if self.scope else code != ADMINISTRATION

    def out(self, day: date) -> str:
        """In words, why it does not hold on a day; "" when it does."""
        if self.fault:
            return f"Pre-authorisation {self.number}: {self.fault}."
        if self.first is not None and day < self.first:
            return f"Pre-authorisation {self.number} begins on {self.first.isoformat()}."
        if self.last is not None and self.last < day:
            return f"Pre-authorisation {self.number} ended on {self.last.isoformat()}."
        return ""

    @property
    def left(self) -> Money | None:
        """What may still be invoiced under it; None without a limit."""
        if self.held is None or self.spent is None:
            return self.held
        return self.held + -self.spent

    def exceeded(self, lines: Sequence[Line], rounding: str) -> str:
        """In words, why these lines are more than is left; "" when they are not."""
        left = self.left
        if left is None or self.held is None:
            return ""
        currency = self.held.currency.code
        if any(line.net.currency != left.currency for line in lines):
            return f"Pre-authorisation {self.number} is in {currency}."
        gross = add([part for group in tax_groups(lines, rounding) for part in (group.base, group.tax)])
        if gross.minor <= left.minor:
            return ""
        held, rest, asked = (f"{one.decimal():f} {currency}" for one in (self.held, left, gross))
        return (
            f"Pre-authorisation {self.number} holds {held}, of which {rest} were left; with this it would pay {asked}."
        )


@dataclass(frozen=True, slots=True)
class Insurance:
    """The one cover of an animal on a day. expected: whether the order names a cover, or it holds pre-authorisations.

    cover: reference to it, "" when there is none or no telling which; hindrance says why, where one is expected."""

    cover: str = ""
    authorisations: tuple[Authorisation, ...] = ()
    expected: bool = False
    hindrance: str = ""
