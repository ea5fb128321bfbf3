"""Files that are given of a resource: which version, as what, and locked against whatever they say of themselves."""

from base64 import b64encode

from service.api import answers
from service.api.answers import Answer, Header
from service.api.ask import Ask
from service.api.inputs import Inputs
from service.api.read import present
from service.basics.errors import Fault, Invalid
from service.basics.stored import Stored
from service.fhir import exact

MEDIA = {"pdf": "application/pdf", "page": "text/html", "text": "text/plain"}
_CHARSET = {"page": "; charset=utf-8", "text": "; charset=utf-8"}
_ENDING = {"pdf": "pdf", "page": "html", "text": "txt"}
# A page that is opened from here runs and fetches nothing, whatever it says of itself.
_LOCKED: Header = (b"content-security-policy", b"default-src 'none'; style-src 'unsafe-inline'; sandbox")


def kind_of(given: Inputs, *, known: tuple[str, ...]) -> str:
    """Which kind is asked for, a PDF without a word. Raises Invalid for one that is not known."""
    kind = given.once("kind") or "pdf"
    if kind not in known:
        raise Invalid(Fault("value", f"kind is one of {', '.join(known)}.", "kind"))
    return kind


def version_of(ask: Ask, given: Inputs) -> Stored:
    """The version that is asked for, the current one without a word. Raises Missing or Gone."""
    number = given.number("version", 0, most=10**9)
    with ask.looking() as view:
        found = view.version(ask.type, ask.id, number) if number else view.get(ask.type, ask.id)
    return present(ask, found, f"There is no version {number} of {ask.type}/{ask.id}." if number else "")


def answer(ask: Ask, stored: Stored, body: bytes, *, kind: str, name: str, media: str = "") -> Answer:
    """The file itself, or a Binary for who asks for FHIR. media: what its sender calls it, told in the Binary alone."""
    seen = (f"{stored.type}/{stored.id}",)
    if _wants_fhir(ask, MEDIA[kind]):
        binary = {
            "resourceType": "Binary",
            "contentType": media or MEDIA[kind],
            "data": b64encode(body).decode("ascii"),
        }
        return Answer(200, exact.encode(binary), answers.versioned(stored), seen=seen)
    file = f'inline; filename="{name}-{stored.id}-{stored.version}.{_ENDING[kind]}"'
    headers = (*answers.versioned(stored), (b"content-disposition", file.encode()), _LOCKED)
    own = f"{MEDIA[kind]}{_CHARSET.get(kind, '')}"  # never the sender's own words: they become a header
    return Answer(200, body, headers, own.encode(), seen=seen)


def _wants_fhir(ask: Ask, media: str) -> bool:
    """Whether FHIR's JSON is asked for by name and the file's own type is not; who takes anything gets the file."""
    accepted = ask.headers.get("accept", "").lower()
    return "json" in accepted and media not in accepted and "*/*" not in accepted
