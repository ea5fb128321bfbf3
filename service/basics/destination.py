"""What a destination is sent and in which form, as JSON text in its row and as a frozen value."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

SHARES: Mapping[str, frozenset[str]] = {
    "report": frozenset({"DiagnosticReport", "Observation", "BodyStructure"}),
    "charges": frozenset({"ChargeItem", "Invoice"}),
    "status": frozenset({"Task", "Procedure"}),
    "images": frozenset({"Media", "ImagingStudy"}),
    "urgent": frozenset({"Communication"}),
}
"""What can be asked for -> the types that carry it. Types in none of them go along with whatever is sent."""
USUAL = ("report", "charges", "status", "images")
RUNGS = ("transaction", "batch", "single", "search")
"""The ways a record system can take a transaction's content, the best first."""
FORMS = (*RUNGS, "message", "document", "webhook")
FORMATS = ("application/pdf", "text/html", "text/plain")
_EVERYWHERE = frozenset().union(*SHARES.values())


@dataclass(frozen=True, slots=True)
class Terms:
    """sends: of SHARES; forms: of FORMS, the first is preferred; formats: media types of a report's presented form.

    form is the one in use; zone: an IANA name in which instants are written, "" for UTC."""

    sends: tuple[str, ...] = USUAL
    forms: tuple[str, ...] = ("transaction",)
    form: str = "transaction"
    formats: tuple[str, ...] = FORMATS
    zone: str = ""
    agreement: str = ""  # of referrals: only what belongs to them is sent

    @property
    def family(self) -> str:
        """What the bytes are: a transaction, whichever rung carries it, or a message, document or webhook."""
        return "transaction" if self.form in RUNGS else self.form

    def wants(self, type_: str) -> bool:
        """Whether resources of this type are sent."""
        return type_ not in _EVERYWHERE or any(type_ in SHARES[share] for share in self.sends)


def read(text: str) -> Terms:
    """The terms kept in a destination's row; "" for the usual ones. Other words in it are not looked at."""
    given: dict[str, Any] = json.loads(text) if text else {}
    usual = Terms()
    forms = tuple(given.get("forms", usual.forms))
    return Terms(
        sends=tuple(given.get("sends", usual.sends)),
        forms=forms,
        form=str(given.get("form", forms[0])),
        formats=tuple(given.get("formats", usual.formats)),
        zone=str(given.get("zone", usual.zone)),
        agreement=str(given.get("agreement", "")),
    )


def way(form: str, settings: str) -> str:
    """How a post is carried: a transaction by the rung its destination is on by now, all else as it was made."""
    if form != "transaction" or not settings:
        return form
    now = read(settings).form
    return now if now in RUNGS else form


def written(terms: Terms, before: str = "") -> str:
    """The text that `read` reads; what else stood in `before` is kept."""
    kept = json.loads(before) if before else {}
    ours = {name: getattr(terms, name) for name in ("sends", "forms", "form", "formats", "zone")}
    ours |= {"agreement": terms.agreement} if terms.agreement else {}
    return json.dumps({**kept, **ours})


def faults(terms: Terms) -> list[str]:
    """What is wrong with the terms, a sentence for each."""
    found = _strangers("what is sent", terms.sends, SHARES) + _strangers("a form", terms.forms, FORMS)
    found += _strangers("a format", terms.formats, FORMATS)
    if not terms.sends:
        found.append(f"say what is sent: {', '.join(SHARES)}")
    if not terms.forms or terms.form not in terms.forms:
        found.append("the form in use must be one of those preferred")
    if len({"transaction" if f in RUNGS else f for f in terms.forms}) > 1:
        found.append(f"prefer one kind of content: either some of {', '.join(RUNGS)}, or another form alone")
    if "document" in terms.forms and terms.sends != ("report",):
        found.append("a document carries the report alone: send report, and charges to a destination of their own")
    if terms.zone and not _is_zone(terms.zone):
        found.append("a zone is an IANA name such as Europe/Berlin")
    return found


def _strangers(what: str, given: Iterable[str], known: Iterable[str]) -> list[str]:
    strange = sorted(set(given) - set(known))
    return [f"{what} is one of {', '.join(known)}; not {', '.join(strange)}"] if strange else []


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ValueError, OSError, LookupError):
        return False
    return True
