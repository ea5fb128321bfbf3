"""Rows about orders, prices, practices and the words of the report."""

from typing import Annotated, ClassVar, Literal

from pydantic import StringConstraints

from service.catalogue.cells import Count, Day, DayOrOpen, Hours, Name, NameOrNone, Number, Text, Words, YesNo
from service.catalogue.rows import Row
from service.catalogue.rows_codes import Grade

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
    """tariff.csv; net in minor units, tax in percent, the last day included."""

    key: ClassVar[tuple[str, ...]] = ("charge", "organization", "valid_from")
    charge: Name
    text: Text
    net_minor: Count
    currency: Text
    tax_rate: Number
    valid_from: Day
    valid_to: DayOrOpen
    organization: Organization
    trigger: Literal["", "doppler", "sedation", "out-of-hours"]
    note: str


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
