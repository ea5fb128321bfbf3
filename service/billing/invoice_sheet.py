"""An invoice or credit into the texts of its printed form, in one language; nothing is computed but turned signs."""

from collections.abc import Iterator, Mapping, Sequence

from service.basics.money import Money
from service.basics.texts import clean
from service.billing.amounts import TAX_FIRST
from service.billing.invoice import Invoice, Line, TaxGroup
from service.billing.invoice_words import Words, say
from service.billing.sheet import Entry, Fact, Figures, Party, Sheet, Taxed
from service.billing.tariff import Tax

NOTICED = ("cancelled", "entered-in-error", "balanced")  # states that a reader has to be told


def sheet(
    invoice: Invoice,
    *,
    words: Words,
    language: str,
    figures: Figures,
    status: str = "issued",
    notes: Sequence[str] = (),
    estimate: bool = False,
) -> Sheet:
    """The printed form in the words of a language. A credit is printed as a credit note with positive amounts.

    estimate: it tells what is expected; nothing has been supplied, and nothing is to be paid."""
    sign = -1 if invoice.credits else 1
    kind = "estimate" if estimate else "credit" if invoice.credits else "invoice"
    return Sheet(
        language=language,
        title=words[f"title-{kind}"],
        number=clean(invoice.number),
        issued=invoice.issued,
        seller=_party(words, "seller", invoice.seller.legal_name, invoice.seller.address, invoice.seller.tax_number),
        buyer=_buyer(words, invoice),
        facts=tuple(_facts(invoice, words, figures, estimate=estimate)),
        exam=tuple(_exam(invoice, words, figures, estimate=estimate)),
        entries=tuple(e for line in invoice.lines for e in _entries(line, words, figures, sign=sign)),
        net_head=f"{words['net']} ({invoice.net.currency.code})",
        taxes=tuple(_taxed(group, words, figures, sign=sign) for group in invoice.groups),
        totals=tuple(_totals(invoice, words, figures, sign=sign)),
        due=Fact(words[f"due-{kind}"], figures.amount(turned(invoice.due, sign))),
        payment=tuple(_payment(invoice, words)) if kind == "invoice" else (),  # nobody has the others to pay
        notices=tuple(_notices(words, status, estimate=estimate)),
        notes=(_method(invoice, words), *_notes(invoice, words, [*filter(None, map(clean, notes))])),
        words=words,
    )


def _party(words: Words, label: str, name: str, address: str, tax_number: str) -> Party:
    lines = [line.strip() for line in clean(address).split("\n")]
    numbered = [f"{words['tax-number']}: {clean(tax_number)}"] if tax_number else []
    return Party(words[label], clean(name), tuple(line for line in (*lines, *numbered) if line))


def _buyer(words: Words, invoice: Invoice) -> Party:
    payer = invoice.payer
    return _party(words, "buyer", payer.name or payer.reference, payer.address, payer.tax_number)


def _notices(words: Words, status: str, *, estimate: bool) -> Iterator[str]:
    if estimate:
        yield words["notice-replaced" if status == "cancelled" else "notice-estimate"]
    elif status in NOTICED:
        yield words[f"notice-{status}"]


def _notes(invoice: Invoice, words: Words, notes: Sequence[str]) -> Iterator[str]:
    """What is printed below the totals: of a credit first why it was made, behind its label."""
    for index, note in enumerate(notes):
        yield say(words, "reason", reason=note) if invoice.credits and not index else note


def _facts(invoice: Invoice, words: Words, figures: Figures, *, estimate: bool) -> Iterator[Fact]:
    day = invoice.performed.day
    facts = {
        "issued": figures.day(invoice.issued[:10]) if invoice.issued else "",
        "supplied": figures.day(day) if day and not estimate else "",
        "credits": invoice.credited_number,
    }
    yield from _told(facts, words)


def _exam(invoice: Invoice, words: Words, figures: Figures, *, estimate: bool) -> Iterator[Fact]:
    """What EN 16931's date of supply and an insurer's questions are about: animal, day, performer, examination."""
    done = invoice.performed
    facts = {
        "animal": done.animal_name,
        "examined": figures.day(done.day) if done.day and not estimate else "",
        "performer": done.performer,
        "exam": done.exam,
    }
    yield from _told(facts, words)


def _told(texts: Mapping[str, str], words: Words) -> Iterator[Fact]:
    found = ((key, clean(text)) for key, text in texts.items())
    yield from (Fact(words[key], text) for key, text in found if text)


def _entries(line: Line, words: Words, figures: Figures, *, sign: int) -> Iterator[Entry]:
    rate = _rate(line.rate, figures)
    quantity = figures.number(line.quantity * sign) if line.quantity else ""
    remarks, ends = tuple(_remarks(line, words, figures, sign=sign)), tuple(_paid(line, words, figures, sign=sign))
    base, off = figures.figure(turned(line.base, sign)), line.discount
    if off is None or not off.minor:
        yield Entry(str(line.sequence), clean(line.text), (*remarks, *ends), quantity, rate, base)
        return
    yield Entry(str(line.sequence), clean(line.text), remarks, quantity, rate, base)
    text = say(words, "discount", reason=clean(line.discount_reason))
    yield Entry("", text, ends, "", rate, figures.figure(turned(off, sign)))


def _paid(line: Line, words: Words, figures: Figures, *, sign: int) -> Iterator[str]:
    """What the line comes to as it was shown, with tax and less its discount."""
    if line.basis == "gross" and line.tax is not None:
        yield say(words, "with-tax", amount=figures.amount(turned(line.shown, sign)))


def _remarks(line: Line, words: Words, figures: Figures, *, sign: int) -> Iterator[str]:
    if line.surcharge is not None and line.surcharge_base is not None:
        base = figures.amount(line.surcharge_base)
        yield say(words, "share", percent=figures.percent(line.surcharge), amount=base)
    elif (each := _each(line, sign)) is not None:
        yield say(words, "each", amount=figures.amount(each))
    if line.outside:
        yield words["outside"]
    if line.authorisation:
        yield say(words, "authorisation", number=clean(line.authorisation))


def _each(line: Line, sign: int) -> Money | None:
    """The price of one, where there are several and it is a whole number of minor units."""
    several = line.quantity * sign
    if several <= 1 or several != several.to_integral_value() or line.base.minor % int(several):
        return None
    return Money(line.base.minor * sign // int(several), line.base.currency)


def _taxed(group: TaxGroup, words: Words, figures: Figures, *, sign: int) -> Taxed:
    return Taxed(
        category=words.get(f"tax-{group.rate.category}", group.rate.category),
        rate=_rate(group.rate, figures),
        base=figures.amount(turned(group.base, sign)),
        tax=figures.amount(turned(group.tax, sign)),
        reason=clean(group.rate.reason),
    )


def _rate(tax: Tax, figures: Figures) -> str:
    """The rate in percent; what is outside tax has none (EN 16931 BR-O-05)."""
    return figures.percent(tax.rate) if tax.category != "O" else ""


def _totals(invoice: Invoice, words: Words, figures: Figures, *, sign: int) -> Iterator[Fact]:
    sums = {"total-net": invoice.net, "total-tax": invoice.tax, "total-gross": invoice.gross}
    if invoice.cash is not None:
        sums["cash-rounding"] = invoice.cash
    yield from (Fact(words[key], figures.amount(turned(one, sign))) for key, one in sums.items())


def _payment(invoice: Invoice, words: Words) -> Iterator[Fact]:
    parts = {"terms": invoice.seller.terms, "bank": invoice.seller.bank}
    yield from _told(parts, words)


def _method(invoice: Invoice, words: Words) -> str:
    method = words["rounding-line" if invoice.rounding == "line" else "rounding-group"]
    if all(line.basis == "net" for line in invoice.lines):
        return method
    return f"{method} {words['gross-tax-first' if invoice.gross_rounding == TAX_FIRST else 'gross-net-first']}"


def turned(amount: Money, sign: int) -> Money:
    """An amount as printed: a credit's with its sign turned."""
    return amount if sign > 0 else -amount
