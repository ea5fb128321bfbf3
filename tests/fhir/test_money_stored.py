"""Invoices and credits come back from both databases, as JSON, with the very same digits."""

from hypothesis import HealthCheck, given, settings

from service.actions.writing import write
from service.basics.ids import new_id
from service.billing.credit import credit
from service.billing.invoice import Invoice
from service.fhir import exact
from service.fhir.reading.invoice import read_invoice
from service.fhir.writing.invoice import invoice as written
from tests.builders.money import CURRENCIES
from tests.core.test_billing_credits import ROWS, SETTINGS, drawn

STRICT = [HealthCheck.function_scoped_fixture]  # every example writes resources of its own


def named(one: Invoice, id_: str) -> Invoice:
    return Invoice(**{**{f: getattr(one, f) for f in one.__slots__}, "id": id_})


@settings(max_examples=60, deadline=None, suppress_health_check=STRICT)
@given(ROWS, SETTINGS)
def test_b19_every_digit_comes_back(books, organization, rows, chosen):
    one = named(drawn(rows, chosen), new_id())
    back = credit(one, [], id_=new_id(), number="2026-000002", issued=one.issued)
    papers = [one, *([back] if back else [])]
    with books.begin(organization) as work:
        write(work, [written(paper, organization="blue") for paper in papers])
    with books.view(organization) as view:
        for paper in papers:
            stored = view.get("Invoice", paper.id)
            assert read_invoice(exact.decode(stored.body), CURRENCIES) == paper
            kept = {k: v for k, v in exact.decode(stored.body).items() if k != "meta"}
            assert exact.encode(kept) == exact.encode(written(paper, organization="blue"))
