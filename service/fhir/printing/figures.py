"""Figures and days as a language writes them, by the Unicode locale data that Babel carries."""

import re
from datetime import date
from decimal import Decimal

from babel import Locale, UnknownLocaleError, dates, numbers

from service.basics.money import Money

_FRACTION = re.compile(r"0(\.[0#]+)?(?![,0#])")


class LocalFigures:
    """The figures of a language such as de-AT; where Babel has none of the country, those of the language.

    Digits are never rounded: an amount has those of its currency, whatever the locale data say of it."""

    def __init__(self, language: str) -> None:
        self.locale = _locale(language)

    def amount(self, money: Money) -> str:
        """An amount with its currency's sign, where the language puts it."""
        code = money.currency.code
        pattern = _exactly(self.locale.currency_formats["standard"].pattern, money)
        if numbers.get_currency_symbol(code, self.locale)[-1:].isalpha():
            pattern = pattern.replace("¤#", "¤\u00a0#")  # as the locale data ask: letters keep their distance
        return numbers.format_currency(money.decimal(), code, pattern, locale=self.locale, currency_digits=False)

    def figure(self, money: Money) -> str:
        """The same without its currency."""
        pattern = _exactly(self.locale.decimal_formats[None].pattern, money)
        return numbers.format_decimal(money.decimal(), pattern, locale=self.locale)

    def number(self, number: Decimal) -> str:
        """A number with all its digits."""
        return numbers.format_decimal(number, locale=self.locale, decimal_quantization=False)

    def percent(self, rate: Decimal) -> str:
        """A rate in percent, with all its digits."""
        return numbers.format_percent(rate.scaleb(-2), locale=self.locale, decimal_quantization=False)

    def day(self, day: str) -> str:
        """A day in words; what is none stays as it is."""
        try:
            return dates.format_date(date.fromisoformat(day), "long", locale=self.locale)
        except ValueError:
            return day


def _exactly(pattern: str, money: Money) -> str:
    """A pattern such as #,##0.00 with the digits of the currency: that of the locale data may be another number."""
    digits = money.currency.exponent
    return _FRACTION.sub("0." + "0" * digits if digits else "0", pattern)


def _locale(language: str) -> Locale:
    """The locale data of a language; without any of its country those of the language, else of English."""
    for name in (language.replace("-", "_"), language.partition("-")[0]):
        try:
            return Locale.parse(name)
        except (UnknownLocaleError, ValueError):
            continue
    return Locale("en")
