"""DiagnosticReport/[id]/$form and $as-document: one version of a report as a file to read, or as a document Bundle."""

from base64 import b64decode
from typing import Any

from service.access import scopes
from service.actions.document import document as gather
from service.api import bundles, forms
from service.api.answers import Answer
from service.api.ask import Ask
from service.api.inputs import inputs
from service.basics.errors import Fault, Missing, RuleBroken
from service.basics.stored import Stored
from service.fhir import exact, uris
from service.fhir.reading.report import is_ours, read_report
from service.fhir.writing.report_document import composition, document_id

Json = dict[str, Any]


def form(ask: Ask) -> Answer:
    """The presented form of one kind: its own bytes, or a Binary for who asks for FHIR.

    Raises Invalid for another kind, Missing when the report or that form of it is not there."""
    given = inputs(ask, {"kind", "version"})
    kind = forms.kind_of(given, known=("pdf", "page", "text"))
    stored = forms.version_of(ask, given)
    attached = _attached(exact.trusted(stored.body), forms.MEDIA[kind])
    if attached is None:
        raise Missing(Fault("not-found", f"This version of the report has no {kind}."))
    body = _decoded(attached["data"])
    return forms.answer(ask, stored, body, kind=kind, name="report", media=attached["contentType"])


def document(ask: Ask) -> Answer:
    """The document of a report: its Composition first, then the report and all that can be reached from it.

    Made when it is asked for and always the same for one version. Raises what actions.document does."""
    given = inputs(ask, {"version"})
    stored = forms.version_of(ask, given)
    report = exact.trusted(stored.body)
    if not is_ours(report):
        text = "Only a report that was issued here is given as a document; read this one as it is."
        raise RuleBroken(Fault("not-supported", text, "DiagnosticReport"))
    with ask.looking() as view:
        found = gather(
            ask.kit.house,
            view,
            stored,
            may=lambda type_: scopes.allows(ask.caller.scopes, type_, "r"),
            most=ask.kit.limits.entries - 1,
        )
    keys = {title: key for key, title in ask.kit.house.catalogues.current.sections}
    first = composition(report, read_report(report).lines, keys=keys, base=ask.base)
    head = {
        "identifier": {"system": uris.URI, "value": f"urn:uuid:{document_id(report)}"},
        "type": "document",
        "timestamp": report["issued"],
    }
    opening = exact.encode({"fullUrl": f"urn:uuid:{first['id']}", "resource": first})
    entries = [opening, *(_entry(ask.base, one) for one in found)]
    return Answer(200, bundles.joined(head, entries), seen=tuple(f"{one.type}/{one.id}" for one in found))


def _decoded(data: str) -> bytes:
    try:
        return b64decode(data)
    except ValueError:
        raise RuleBroken(Fault("value", "The form that was stored is not base64.", "presentedForm")) from None


def _attached(report: Json, media: str) -> Json | None:
    forms = [f for f in report.get("presentedForm", []) if str(f.get("contentType", "")).startswith(media)]
    return next((f for f in forms if f.get("data")), None)


def _entry(base: str, one: Stored) -> bytes:
    return b'{"fullUrl":' + exact.encode(f"{base}/{one.type}/{one.id}") + b',"resource":' + one.body + b"}"
