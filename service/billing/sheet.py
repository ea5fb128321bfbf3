"""The printed form of an invoice as texts, and how a language writes the figures in it."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol

from service.basics.money import Money
from service.billing.invoice_words import Words


class Figures(Protocol):
    """How a language writes figures and days."""

    def amount(self, money: Money) -> str:
        """An amount with its currency."""

    def figure(self, money: Money) -> str:
        """The same without its currency."""

    def number(self, number: Decimal) -> str:
        """A number with all its digits."""

    def percent(self, rate: Decimal) -> str:
        """A rate in percent."""

    def day(self, day: str) -> str:
        """A day such as 2026-11-25."""


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and what it says."""

    label: str
    text: str


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of the invoice, or the discount on the one above (without a number)."""

    number: str
    text: str
    remarks: tuple[str, ...]
    quantity: str
    rate: str
    net: str


@dataclass(frozen=True, slots=True)
class Taxed:
    """What one rate of tax comes to; reason: why no tax is due."""

    category: str
    rate: str
    base: str
    tax: str
    reason: str


@dataclass(frozen=True, slots=True)
class Party:
    """Who sells or is billed: name, then address and tax number."""

    label: str
    name: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """The printed form, all of it texts. exam: what holds for every entry (animal, day, performer, id of the exam).

    issued: the instant of issue. net_head names the currency of the entries' figures."""

    language: str
    title: str
    number: str
    issued: str
    seller: Party
    buyer: Party
    facts: tuple[Fact, ...]
    exam: tuple[Fact, ...]
    entries: tuple[Entry, ...]
    net_head: str
    taxes: tuple[Taxed, ...]
    totals: tuple[Fact, ...]
    due: Fact
    payment: tuple[Fact, ...]
    notices: tuple[str, ...]
    notes: tuple[str, ...]
    words: Words

    @property
    def heading(self) -> str:
        """What it is, with its number; an estimate has none."""
        return f"{self.title} {self.number}".strip()
