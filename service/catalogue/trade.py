"""Turns rows about services, prices, practices and the words of the report into values."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from service.basics.money import Currency
from service.billing.practice import Practice
from service.catalogue.catalogue import Caution, Key
from service.catalogue.codings import Codes
from service.catalogue.rows_trade import (
    CautionRow,
    CurrencyRow,
    HolidayRow,
    OrderCodeRow,
    PracticeRow,
    SectionRow,
    ServiceRow,
)
from service.catalogue.sheets import Placed, Sheets
from service.exam.rules import Service

LARGEST_SHARE = 1000


def services(sheets: Sheets, codes: Codes) -> tuple[dict[str, Service], dict[Key, str]]:
    """Services by key, and the codes that order them."""
    rows = sheets.read("services.csv", ServiceRow)
    outside = sheets.read("order-codes.csv", OrderCodeRow)
    found: dict[str, Service] = {}
    for placed in rows:
        row = placed.row
        own = codes.own("service", row.service, row.title)
        also = [codes.coding(p.line, p.row.system, p.row.code, p.row.display) for p in outside if _of(p, row.service)]
        report = codes.optional(placed.line, row.report_system, row.report_code, row.report_display)
        for name in set(row.structures) - sheets.known("structures.csv", "structure"):
            sheets.fault(placed.line, f'structure "{name}" is not in structures.csv')
        if row.names_organs and row.structures:
            sheets.fault(placed.line, "either the order names the organs or the service does")
        found[row.service] = Service(
            row.service,
            row.title,
            (own, *also),
            row.scope,
            row.names_organs,
            row.structures,
            row.charge,
            (*report, own),
        )
    for stray in outside:
        if stray.row.service not in sheets.known("services.csv", "service"):
            sheets.fault(stray.line, f'service "{stray.row.service}" is not in services.csv')
    return found, {(c.system, c.code): key for key, service in found.items() for c in service.codes}


def _of(placed: Placed[OrderCodeRow], service: str) -> bool:
    return placed.row.service == service


def currencies(sheets: Sheets) -> dict[str, Currency]:
    """Currencies by ISO 4217 code."""
    rows = sheets.read("currencies.csv", CurrencyRow)
    return {p.row.currency: Currency(p.row.currency, int(p.row.exponent)) for p in rows}


def _currency(placed: Placed[PracticeRow], sheets: Sheets, currencies: Mapping[str, Currency]) -> Currency | None:
    code = placed.row.currency
    if code not in sheets.known("currencies.csv", "currency"):
        sheets.fault(placed.line, f'currency "{code}" is not in currencies.csv')
    return currencies.get(code)


def practices(sheets: Sheets, *, currencies: Mapping[str, Currency]) -> dict[str, Practice]:
    """Practice rows by organisation; "*" holds for all others and must be there."""
    found: dict[str, Practice] = {}
    rows, closed = sheets.read("practices.csv", PracticeRow), _holidays(sheets)
    if "*" not in sheets.known("practices.csv", "organization"):
        sheets.faults.append('practices.csv:0: the row "*" is missing')
    for placed in rows:
        row = placed.row
        currency = _currency(placed, sheets, currencies)
        _zone(placed, sheets)
        week = (row.monday, row.tuesday, row.wednesday, row.thursday, row.friday, row.saturday, row.sunday)
        if currency:
            found[row.organization] = Practice(
                row.organization,
                row.zone,
                week,
                currency,
                row.language,
                row.stills_owed,
                row.clips_owed,
                row.tax_rounding,
                gross_rounding=row.gross_rounding,
                cash_step=_step(placed, sheets, currency),
                holidays={**closed.get("*", {}), **closed.get(row.organization, {})},
                no_show_hours=_whole(placed, sheets, "no_show_hours"),
                estimate_share=_share(placed, sheets),
                recheck_days=_whole(placed, sheets, "recheck_days"),
                fluid_check_apart=row.fluid_check_apart,
            )
    return found


def _holidays(sheets: Sheets) -> dict[str, dict[date, str]]:
    found: dict[str, dict[date, str]] = {}
    for placed in sheets.read("holidays.csv", HolidayRow):
        found.setdefault(placed.row.organization, {})[placed.row.day] = placed.row.name
    return found


def _step(placed: Placed[PracticeRow], sheets: Sheets, currency: Currency) -> int:
    step = (placed.row.cash_step or Decimal(0)).scaleb(currency.exponent)
    if step < 0 or step != step.to_integral_value():
        sheets.fault(placed.line, f"cash_step {placed.row.cash_step} is no coin of {currency.code}")
    return int(step)


def _whole(placed: Placed[PracticeRow], sheets: Sheets, column: str) -> int | None:
    text: str = getattr(placed.row, column)
    if text and not text.isdecimal():
        sheets.fault(placed.line, f'{column} "{text}" must be a whole number, or empty')
    return int(text) if text.isdecimal() else None


def _share(placed: Placed[PracticeRow], sheets: Sheets) -> Decimal | None:
    share = placed.row.estimate_share
    if share is not None and not 0 <= share <= LARGEST_SHARE:
        sheets.fault(placed.line, f"estimate_share {share} is no percentage from 0 to {LARGEST_SHARE}, or empty")
    return share


def _zone(placed: Placed[PracticeRow], sheets: Sheets) -> None:
    try:
        ZoneInfo(placed.row.zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        sheets.fault(placed.line, f'zone "{placed.row.zone}" is no time zone')


def cautions(sheets: Sheets) -> tuple[Caution, ...]:
    """The cautions in order."""
    return tuple(Caution(p.row.caution, p.row.shown, p.row.text) for p in sheets.read("cautions.csv", CautionRow))


def sections(sheets: Sheets) -> tuple[tuple[str, str], ...]:
    """(key, title) of the report's sections in order."""
    return tuple((p.row.section, p.row.title) for p in sheets.read("report-sections.csv", SectionRow))
