"""The pure pricing of a full exam with all that can be done besides: charges and prices into lines, tax and totals."""

from datetime import UTC, datetime

from service.billing.charge import Charge, Identity
from service.billing.hours import start
from service.billing.invoice import tax_groups
from service.billing.pricing import priced
from service.billing.situation import Situation
from tests.bench.measuring import Line, seconds
from tests.builders.money import PRACTICE
from tests.builders.survey import mappings

CODES = ("full", "doppler", "sedation", "sample", "cystocentesis", "drainage", "out-of-hours")
TIMES, MICROSECONDS = 200, 1000


def line() -> Line:
    """Microseconds for one exam, the best of many: it has no engine."""
    charges = [Charge(code, Identity("order", code, PRACTICE.organization), code, "billable", 2) for code in CODES]
    prices = mappings().prices
    began = start(PRACTICE, datetime(2026, 11, 25, 20, tzinfo=UTC).isoformat())
    at = Situation(scope="full", species="dog", priority="stat", closed=True)

    def price() -> None:
        bill = priced(charges, prices, practice=PRACTICE, began=began, exam_code="full", at=at)
        assert len(bill.lines) == len(CODES), bill
        tax_groups([owed.line for owed in bill.lines], PRACTICE.tax_rounding)

    found = min(seconds(price) for _ in range(TIMES)) * 1e6
    return Line("pricing a full exam, pure", "", f"{found:,.0f} us", f"{MICROSECONDS} us", found / MICROSECONDS, 1.0)
