"""Invoice/[id]/$print: an invoice or credit note as a page or a PDF to read, print or send."""

from service.actions.print_invoice import printed_form
from service.api import forms
from service.api.answers import Answer
from service.api.ask import Ask
from service.api.inputs import inputs
from service.basics.errors import Busy, Fault
from service.billing.sheet import Sheet
from service.fhir import exact
from service.fhir.writing.invoice_html import html
from service.fhir.writing.invoice_print import TEMPLATE, printed


def form(ask: Ask) -> Answer:
    """The printed form of one version: its own bytes, or a Binary for who asks for FHIR.

    Raises Invalid for another kind or a language without words, RuleBroken for what was not issued here, Busy when no
    PDF can be made."""
    given = inputs(ask, {"kind", "version", "language"})
    kind = forms.kind_of(given, known=("pdf", "page"))
    stored = forms.version_of(ask, given)
    with ask.kit.books.view(ask.caller.organization) as view:  # for the practice's own words; the invoice may be seen
        resource = exact.trusted(stored.body)
        sheet = printed_form(ask.kit.house, view, resource, language=given.once("language"))
    body = html(sheet).encode() if kind == "page" else _pdf(ask, sheet)
    return forms.answer(ask, stored, body, kind=kind, name="invoice")


def _pdf(ask: Ask, sheet: Sheet) -> bytes:
    press = ask.kit.house.press
    made = press(printed(sheet), template=TEMPLATE) if press else None
    if made is None:
        text = "No PDF can be made just now. The page says the same: ask for it with kind=page."
        raise Busy(Fault("transient", text), retry_after=5)
    return made
