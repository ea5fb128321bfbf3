"""What was estimated, what was agreed to and what is billed into whom the bill surprises."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from service.basics.money import Money
from service.billing.exceptions import Found

KIND = "estimate-exceeded"
PEOPLE = ("RelatedPerson/", "Patient/")  # who pays as a client
_TENTH = Decimal("0.1")


@dataclass(frozen=True, slots=True)
class Told:
    """What a payer expects to pay, tax included: the estimate, or what was agreed to after it."""

    gross: Money
    agreed: bool = False


@dataclass(frozen=True, slots=True)
class Billed:
    """What a payer is billed, tax included, credits taken off; invoice: id of his last one. payer is a reference."""

    payer: str
    name: str
    invoice: str
    gross: Money


def surprises(billed: Iterable[Billed], told: Mapping[str, Told], share: Decimal | None) -> list[Found]:
    """An exception for each payer whose bill passes what he was told by more than `share` per cent; None: by any.

    told: by `key` of the payer; empty where nothing was estimated."""
    if not told or share is None:
        return []
    return [found for one in billed if (found := _surprise(one, told.get(key(one.payer)), share)) is not None]


def key(payer: str) -> str:
    """What tells one payer from another: "" for the client, whoever turns out to be that; else the reference."""
    return "" if payer.startswith(PEOPLE) else payer


def _surprise(one: Billed, told: Told | None, share: Decimal) -> Found | None:
    if one.gross.minor <= 0:
        return None
    who, comes_to = one.name or one.payer, _words(one.gross)
    if told is None:
        words = f"{who} is billed {comes_to}, and nothing was estimated for this payer."
        return Found(KIND, f"Invoice/{one.invoice}", words, (one.payer, str(one.gross.minor), ""))
    word = "agreed to" if told.agreed else "estimated"
    if told.gross.currency != one.gross.currency:
        beyond = "in another currency"
    elif one.gross.minor * 100 <= told.gross.minor * (100 + share):
        return None
    elif not told.gross.minor:
        beyond = "all of it beyond"
    else:
        more = Decimal((one.gross.minor - told.gross.minor) * 100) / told.gross.minor
        beyond = f"{more.quantize(_TENTH, ROUND_HALF_UP):f} % more, where {share.normalize():f} % may pass"
    words = f"{who} is billed {comes_to}, and {_words(told.gross)} were {word}: {beyond}."
    return Found(KIND, f"Invoice/{one.invoice}", words, (one.payer, str(one.gross.minor), str(told.gross.minor)))


def _words(amount: Money) -> str:
    return f"{amount.decimal():f} {amount.currency.code}"
