"""Turns rows about services, prices, practices and the words of the report into values."""

from collections.abc import Iterable, Mapping
from datetime import date
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from service.basics.money import Currency, Money
from service.billing.practice import Practice
from service.billing.tariff import Price
from service.catalogue.catalogue import Caution, Key
from service.catalogue.codings import Codes
from service.catalogue.rows_trade import (
    CautionRow,
    CurrencyRow,
    OrderCodeRow,
    PracticeRow,
    PriceRow,
    SectionRow,
    ServiceRow,
)
from service.catalogue.sheets import Placed, Sheets
from service.exam.rules import Service


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


def prices(sheets: Sheets, *, currencies: Mapping[str, Currency]) -> tuple[Price, ...]:
    """The price list; no day has two prices for one charge of one organisation."""
    rows = sheets.read("tariff.csv", PriceRow)
    found: list[Price] = []
    for placed in rows:
        row = placed.row
        currency = _currency(placed, sheets, currencies)
        if row.valid_to and row.valid_to < row.valid_from:
            sheets.fault(placed.line, "valid_to is before valid_from")
        if row.tax_rate < 0 or row.tax_rate > 100:
            sheets.fault(placed.line, f"tax_rate {row.tax_rate} is not a share of a hundred")
        if currency:
            found.append(
                Price(
                    row.charge,
                    row.text,
                    Money(row.net_minor, currency),
                    row.tax_rate,
                    row.valid_from,
                    row.valid_to,
                    row.organization,
                    row.trigger,
                )
            )
    _overlaps(rows, sheets)
    return tuple(found)


def _currency(
    placed: Placed[PriceRow] | Placed[PracticeRow], sheets: Sheets, currencies: Mapping[str, Currency]
) -> Currency | None:
    code = placed.row.currency
    if code not in sheets.known("currencies.csv", "currency"):
        sheets.fault(placed.line, f'currency "{code}" is not in currencies.csv')
    return currencies.get(code)


def _overlaps(rows: Iterable[Placed[PriceRow]], sheets: Sheets) -> None:
    open_until: dict[tuple[str, str], date] = {}
    for placed in sorted(rows, key=lambda p: p.row.valid_from):
        key = (placed.row.charge, placed.row.organization)
        if key in open_until and placed.row.valid_from <= open_until[key]:
            sheets.fault(placed.line, f"{placed.row.charge} has a price already on {placed.row.valid_from}")
        open_until[key] = max(placed.row.valid_to or date.max, open_until.get(key, date.min))


def practices(sheets: Sheets, *, currencies: Mapping[str, Currency]) -> dict[str, Practice]:
    """Practice rows by organisation; "*" holds for all others and must be there."""
    found: dict[str, Practice] = {}
    rows = sheets.read("practices.csv", PracticeRow)
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
            )
    return found


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
