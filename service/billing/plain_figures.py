"""Figures and days in one notation for every language: 1234.50 EUR, 20 %, 2026-11-25."""

from decimal import Decimal

from service.basics.money import Money


class PlainFigures:
    """How the narrative of an invoice writes figures: as its elements do."""

    def amount(self, money: Money) -> str:
        """An amount with its ISO 4217 code."""
        return f"{money.decimal():f} {money.currency.code}"

    def figure(self, money: Money) -> str:
        """The same without the code."""
        return f"{money.decimal():f}"

    def number(self, number: Decimal) -> str:
        """A number with all its digits."""
        return f"{number:f}"

    def percent(self, rate: Decimal) -> str:
        """A rate in percent."""
        return f"{rate:f} %"

    def day(self, day: str) -> str:
        """A day as ISO 8601 has it."""
        return day
