"""DiagnosticReport/[id]/$form and $as-document: one version of a report as a file to read, or as a document Bundle."""

from base64 import b64decode
from typing import Any

from service.access import scopes
from service.actions.document import document as gather
from service.api import answers, bundles
from service.api.answers import Answer
from service.api.ask import Ask
from service.api.inputs import Inputs, inputs
from service.api.read import present
from service.basics.errors import Fault, Invalid, Missing, RuleBroken
from service.basics.stored import Stored
from service.fhir import exact, uris
from service.fhir.reading.report import is_ours, read_report
from service.fhir.writing.report_document import composition, document_id

Json = dict[str, Any]
KINDS = {"pdf": "application/pdf", "page": "text/html", "text": "text/plain"}
_CHARSET = {"page": "; charset=utf-8", "text": "; charset=utf-8"}
# A page that is opened from here runs and fetches nothing, whatever it says of itself.
_LOCKED = (b"content-security-policy", b"default-src 'none'; style-src 'unsafe-inline'; sandbox")


def form(ask: Ask) -> Answer:
    """The presented form of one kind: its own bytes, or a Binary for who asks for FHIR.

    Raises Invalid for another kind, Missing when the report or that form of it is not there."""
    given = inputs(ask, {"kind", "version"})
    kind = given.once("kind") or "pdf"
    if kind not in KINDS:
        raise Invalid(Fault("value", f"kind is one of {', '.join(KINDS)}.", "kind"))
    stored = _version(ask, given)
    attached = _attached(exact.trusted(stored.body), KINDS[kind])
    if attached is None:
        raise Missing(Fault("not-found", f"This version of the report has no {kind}."))
    seen = (f"{stored.type}/{stored.id}",)
    if _wants_fhir(ask, KINDS[kind]):
        binary = {"resourceType": "Binary", "contentType": attached["contentType"], "data": attached["data"]}
        return Answer(200, exact.encode(binary), answers.versioned(stored), seen=seen)
    name = f'inline; filename="report-{stored.id}-{stored.version}.{"html" if kind == "page" else kind[:3]}"'
    headers = (*answers.versioned(stored), (b"content-disposition", name.encode()), _LOCKED)
    media = f"{KINDS[kind]}{_CHARSET.get(kind, '')}"  # never the sender's own words: they become a header
    return Answer(200, _decoded(attached["data"]), headers, media.encode(), seen=seen)


def document(ask: Ask) -> Answer:
    """The document of a report: its Composition first, then the report and all that can be reached from it.

    Made when it is asked for and always the same for one version. Raises what actions.document does."""
    given = inputs(ask, {"version"})
    stored = _version(ask, given)
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


def _version(ask: Ask, given: Inputs) -> Stored:
    number = given.number("version", 0, most=10**9)
    with ask.looking() as view:
        found = view.version(ask.type, ask.id, number) if number else view.get(ask.type, ask.id)
    return present(ask, found, f"There is no version {number} of {ask.type}/{ask.id}." if number else "")


def _attached(report: Json, media: str) -> Json | None:
    forms = [f for f in report.get("presentedForm", []) if str(f.get("contentType", "")).startswith(media)]
    return next((f for f in forms if f.get("data")), None)


def _wants_fhir(ask: Ask, media: str) -> bool:
    """Whether FHIR's JSON is asked for by name and the file's own type is not; who takes anything gets the file."""
    accepted = ask.headers.get("accept", "").lower()
    return "json" in accepted and media not in accepted and "*/*" not in accepted


def _entry(base: str, one: Stored) -> bytes:
    return b'{"fullUrl":' + exact.encode(f"{base}/{one.type}/{one.id}") + b',"resource":' + one.body + b"}"
