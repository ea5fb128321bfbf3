"""Whoever pays into the payer that an invoice prints, and what it would lack."""

from collections.abc import Iterable
from dataclasses import replace

from service.actions.ports import View
from service.actions.writing import decoded
from service.billing.invoice import Line, Payer
from service.billing.tariff import NEEDS_BUYER
from service.fhir.reading.payer import postal_address, tax_number


def addressed(view: View, payer: Payer) -> Payer:
    """The payer with the address and the tax number of their resource, as it is now; both stay on the invoice."""
    type_, _, id_ = payer.reference.partition("/")
    stored = view.get(type_, id_) if id_ else None
    if stored is None or stored.deleted:
        return payer
    resource = decoded(stored)
    return replace(payer, address=postal_address(resource), tax_number=tax_number(resource))


def unnumbered(payer: Payer, lines: Iterable[Line]) -> str:
    """Why these lines can't be invoiced to a payer without a tax number; "" when they can."""
    owed = sorted({line.rate.category for line in lines} & NEEDS_BUYER)
    if not owed or payer.tax_number:
        return ""
    return (
        f"Tax of the category {', '.join(owed)} is owed by whoever is billed, so their tax number has to be "
        f"printed: give {payer.reference} an identifier of type TAX."
    )
