"""Rows about orders, prices, practices and the words of the report."""

from typing import Annotated, ClassVar, Literal

from pydantic import StringConstraints

from service.catalogue.cells import (
    CountOrNone,
    Day,
    DayOrOpen,
    Hours,
    Name,
    NameOrNone,
    NumberOrNone,
    Text,
    Words,
    YesNo,
)
from service.catalogue.rows import Row
from service.catalogue.rows_codes import Grade

Trigger = Literal[
    "doppler", "sedation", "sample", "cystocentesis", "drainage", "clipping", "export", "call-out",
    "out-of-hours", "priority", "specialist", "no-show", "claim",
]  # fmt: skip
Organization = Annotated[str, StringConstraints(pattern=r"^(\*|[a-z0-9][a-z0-9-]*)$")]


class ServiceRow(Row):
    """services.csv"""

    key: ClassVar[tuple[str, ...]] = ("service",)
    service: Name
    title: Text
    scope: Literal["full", "limited", "recheck", "fluid-check"]
    names_organs: YesNo
    structures: Words
    charge: Name
    report_system: NameOrNone
    report_code: str
    report_display: str
    source: Text


class OrderCodeRow(Row):
    """order-codes.csv: what a service is called outside; our own code is always added."""

    key: ClassVar[tuple[str, ...]] = ("system", "code")
    service: Name
    system: Name
    code: Text
    display: Text
    grade: Grade
    source: Text


class PriceRow(Row):
    """tariff.csv; amounts in major units with the digits of their currency, tax in percent, the last day included."""

    key: ClassVar[tuple[str, ...]] = ("charge", "organization", "valid_from", "variant")
    charge: Name
    variant: NameOrNone
    text: Text
    amount: NumberOrNone
    currency: Text
    basis: Literal["net", "gross"]
    tax_category: Literal["", "S", "Z", "E", "O", "AE", "K", "G"]
    tax_rate: NumberOrNone
    tax_reason: str
    valid_from: Day
    valid_to: DayOrOpen
    organization: Organization
    scope: Words
    species: Literal["", "dog", "cat"]
    weight_from: NumberOrNone
    weight_below: NumberOrNone
    priority: Words
    hours: Literal["", "in", "out"]
    grade: Words
    requester: Words
    quantity: Literal["exam", "site", "procedure", "visit"]
    cap: CountOrNone
    exclusive_with: Words
    surcharge: NumberOrNone
    surcharge_on: Words
    discount: NumberOrNone
    discount_reason: str
    kind: Literal["exam", "service", "drug", "outside"]
    part_of: NameOrNone
    payer: Literal["client", "requester", "insurer"]
    note: str


class ChargeRow(Row):
    """charges.csv: what an exam can show, and the charge that it leads to."""

    key: ClassVar[tuple[str, ...]] = ("charge",)
    charge: Name
    text: Text
    trigger: Trigger
    always: YesNo
    source: Text


class HolidayRow(Row):
    """holidays.csv; the organisation "*" holds for all."""

    key: ClassVar[tuple[str, ...]] = ("organization", "day")
    organization: Organization
    day: Day
    name: Text
    source: Text


class PracticeRow(Row):
    """practices.csv; the row "*" holds for all that have none of their own."""

    key: ClassVar[tuple[str, ...]] = ("organization",)
    organization: Organization
    zone: Text
    monday: Hours
    tuesday: Hours
    wednesday: Hours
    thursday: Hours
    friday: Hours
    saturday: Hours
    sunday: Hours
    currency: Text
    language: Text
    stills_owed: YesNo
    clips_owed: YesNo
    tax_rounding: Literal["group", "line"]
    gross_rounding: Literal["net-first", "tax-first"]
    cash_step: NumberOrNone
    no_show_hours: str
    estimate_share: NumberOrNone
    recheck_days: str
    fluid_check_apart: YesNo


class CurrencyRow(Row):
    """currencies.csv"""

    key: ClassVar[tuple[str, ...]] = ("currency",)
    currency: Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]
    exponent: Literal["0", "2", "3"]
    source: Text


class CautionRow(Row):
    """cautions.csv"""

    key: ClassVar[tuple[str, ...]] = ("caution",)
    caution: Text
    shown: Name
    text: Text
    source: Text


class SectionRow(Row):
    """report-sections.csv, in the order of the report."""

    key: ClassVar[tuple[str, ...]] = ("section",)
    section: Name
    title: Text
    when: Text
    content: Text
    source: Text
