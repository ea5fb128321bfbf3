"""An invoice of the billing room into the syntax that EN 16931's own rules are written for (UN/CEFACT CII).

What our invoices have no element for is set here: the countries of seller and buyer, and which kind a tax number is."""

from collections.abc import Iterator
from decimal import Decimal
from xml.sax.saxutils import escape

from service.basics.money import Money
from service.billing.invoice import Invoice, Line, TaxGroup

COUNTRY = "AT"
NAMES = {
    "rsm": "urn:un:unece:uncefact:data:standard:CrossIndustryInvoice:100",
    "ram": "urn:un:unece:uncefact:data:standard:ReusableAggregateBusinessInformationEntity:100",
    "udt": "urn:un:unece:uncefact:data:standard:UnqualifiedDataType:100",
}


def cross_industry(invoice: Invoice) -> str:
    """The whole document; a credit is of type 381 and states positive amounts."""
    sign = -1 if invoice.credits else 1
    names = " ".join(f'xmlns:{prefix}="{uri}"' for prefix, uri in NAMES.items())
    guide = _in("GuidelineSpecifiedDocumentContextParameter", _of("ID", "urn:cen.eu:en16931:2017"))
    head = _of("ID", invoice.number) + _of("TypeCode", "381" if invoice.credits else "380")
    head += _in("IssueDateTime", _day(invoice.issued[:10]))
    lines = "".join(_line(line, sign) for line in invoice.lines)
    trade = _in("SupplyChainTradeTransaction", lines + _agreement(invoice) + _delivery(invoice) + _sums(invoice, sign))
    context = _in("ExchangedDocumentContext", guide, prefix="rsm") + _in("ExchangedDocument", head, prefix="rsm")
    body = context + trade.replace("ram:SupplyChainTradeTransaction", "rsm:SupplyChainTradeTransaction")
    return f'<?xml version="1.0" encoding="UTF-8"?><rsm:CrossIndustryInvoice {names}>{body}</rsm:CrossIndustryInvoice>'


def _in(name: str, content: str, *, prefix: str = "ram") -> str:
    return f"<{prefix}:{name}>{content}</{prefix}:{name}>"


def _of(name: str, text: object, **attributes: str) -> str:
    said = "".join(f' {key}="{value}"' for key, value in attributes.items())
    return f"<ram:{name}{said}>{escape(str(text))}</ram:{name}>"


def _day(day: str) -> str:
    return f'<udt:DateTimeString format="102">{day.replace("-", "")}</udt:DateTimeString>'


def _amount(money: Money, sign: int) -> Decimal:
    return (money if sign > 0 else -money).decimal()


def _tax(category: str, rate: Decimal) -> str:
    """BT-151 and BT-152, or BT-118 and BT-119; what is outside tax has no rate (BR-O-05)."""
    return _of("CategoryCode", category) + (_of("RateApplicablePercent", rate) if category != "O" else "")


def _line(line: Line, sign: int) -> str:
    quantity = line.quantity * sign
    price = _amount(line.base, sign) / quantity
    parts = _in("AssociatedDocumentLineDocument", _of("LineID", line.sequence))
    parts += _in("SpecifiedTradeProduct", _of("Name", line.text))
    parts += _in("SpecifiedLineTradeAgreement", _in("NetPriceProductTradePrice", _of("ChargeAmount", price)))
    parts += _in("SpecifiedLineTradeDelivery", _of("BilledQuantity", quantity, unitCode="C62"))
    settled = _in("ApplicableTradeTax", _of("TypeCode", "VAT") + _tax(line.rate.category, line.rate.rate))
    settled += "".join(_discount(line, sign))
    total = _of("LineTotalAmount", _amount(line.net, sign))
    settled += _in("SpecifiedTradeSettlementLineMonetarySummation", total)
    return _in("IncludedSupplyChainTradeLineItem", parts + _in("SpecifiedLineTradeSettlement", settled))


def _discount(line: Line, sign: int) -> Iterator[str]:
    if line.discount is not None and line.discount.minor:
        indicator = _in("ChargeIndicator", "<udt:Indicator>false</udt:Indicator>")
        off = _of("ActualAmount", -_amount(line.discount, sign)) + _of("Reason", line.discount_reason)
        yield _in("SpecifiedTradeAllowanceCharge", indicator + off)


def _agreement(invoice: Invoice) -> str:
    """What is outside tax names no number of VAT (BR-O-02): the seller's is then told as a registration (BT-30)."""
    outside = any(line.rate.category == "O" for line in invoice.lines)
    seller, payer = invoice.seller, invoice.payer
    sells = _party(seller.legal_name, seller.address, seller.tax_number, registered=outside)
    pays = _party(payer.name, payer.address, "" if outside else payer.tax_number)
    return _in("ApplicableHeaderTradeAgreement", _in("SellerTradeParty", sells) + _in("BuyerTradeParty", pays))


def _party(name: str, address: str, number: str, *, registered: bool = False) -> str:
    place = _in("PostalTradeAddress", _of("LineOne", address.partition("\n")[0]) + _of("CountryID", COUNTRY))
    if registered:
        return _of("Name", name) + _in("SpecifiedLegalOrganization", _of("ID", number)) + place
    taxed = _in("SpecifiedTaxRegistration", _of("ID", number, schemeID="VA")) if number else ""
    return _of("Name", name) + place + taxed


def _delivery(invoice: Invoice) -> str:
    there = _in("ShipToTradeParty", _in("PostalTradeAddress", _of("CountryID", COUNTRY)))
    day = _in("OccurrenceDateTime", _day(invoice.performed.day))
    return _in("ApplicableHeaderTradeDelivery", there + _in("ActualDeliverySupplyChainEvent", day))


def _sums(invoice: Invoice, sign: int) -> str:
    currency = invoice.net.currency.code
    parts = _of("InvoiceCurrencyCode", currency) + "".join(_group(one, sign) for one in invoice.groups)
    if invoice.seller.terms:
        parts += _in("SpecifiedTradePaymentTerms", _of("Description", invoice.seller.terms))
    sums = _of("LineTotalAmount", _amount(invoice.net, sign)) + _of("TaxBasisTotalAmount", _amount(invoice.net, sign))
    sums += _of("TaxTotalAmount", _amount(invoice.tax, sign), currencyID=currency)
    if invoice.cash is not None:
        sums += _of("RoundingAmount", _amount(invoice.cash, sign))
    sums += _of("GrandTotalAmount", _amount(invoice.gross, sign)) + _of("DuePayableAmount", _amount(invoice.due, sign))
    parts += _in("SpecifiedTradeSettlementHeaderMonetarySummation", sums)
    if invoice.credits:
        parts += _in("InvoiceReferencedDocument", _of("IssuerAssignedID", invoice.credited_number))
    return _in("ApplicableHeaderTradeSettlement", parts)


def _group(group: TaxGroup, sign: int) -> str:
    parts = _of("CalculatedAmount", _amount(group.tax, sign)) + _of("TypeCode", "VAT")
    parts += _of("ExemptionReason", group.rate.reason) if group.rate.reason else ""
    parts += _of("BasisAmount", _amount(group.base, sign)) + _tax(group.rate.category, group.rate.rate)
    return _in("ApplicableTradeTax", parts)
