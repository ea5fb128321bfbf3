"""What the caller can read and what it sends: Accept, _format and Content-Type into one of three JSON types."""

from functools import lru_cache

from service.basics.errors import Fault, NotAcceptable, WrongMedia
from service.fhir import patching

OURS = ("application/fhir+json", "application/json", "text/json")
FORM = "application/x-www-form-urlencoded"
_SHORT = {"json": OURS[0]} | {name: name for name in OURS}
_RELEASES = {"", "4.0", "4.0.1"}


@lru_cache(maxsize=256)
def answer_type(accept: str, format_: str = "") -> bytes:
    """The Content-Type of the answer; _format goes before Accept. Raises NotAcceptable when it can't be JSON of R4."""
    if format_:
        name, parameters = _parsed(format_.replace(" ", "+"))  # an unescaped + arrives as a space
        if name in _SHORT and parameters.get("fhirversion", "") in _RELEASES:
            return _typed(_SHORT[name])
        raise _json_only(f"_format={format_}")
    best = max((_offer(part) for part in accept.split(",")), default=(0.0, "")) if accept.strip() else (1.0, OURS[0])
    if best[0] <= 0:
        raise _json_only(f"Accept: {accept}")
    return _typed(best[1])


def check_json(content_type: str, content_encoding: str) -> None:
    """Raise WrongMedia unless a body of this type and encoding is JSON in UTF-8, not compressed."""
    name, parameters = _parsed(content_type)
    if name not in OURS:
        raise _wrong(f"Content-Type {name or '(none)'} is not taken.")
    if parameters.get("charset", "utf-8").lower() not in {"utf-8", "utf8"}:
        raise _wrong("FHIR's JSON is always UTF-8.")
    if parameters.get("fhirversion", "") not in _RELEASES:
        raise _wrong("Only FHIR R4 (4.0) is taken.")
    check_encoding(content_encoding)


def check_patch(content_type: str, content_encoding: str) -> None:
    """Raise WrongMedia unless a body of this type is a JSON Patch; R4's other two kinds of patch are not taken."""
    name, parameters = _parsed(content_type)
    if name != patching.MEDIA or parameters.get("charset", "utf-8").lower() not in {"utf-8", "utf8"}:
        text = f"Content-Type {name or '(none)'} is not taken; a patch is sent as {patching.MEDIA}."
        raise WrongMedia(Fault("not-supported", text))
    check_encoding(content_encoding)


def check_form(content_type: str, content_encoding: str) -> None:
    """Raise WrongMedia unless a body of this type is a form, as POST _search sends it."""
    if _parsed(content_type)[0] != FORM:
        raise WrongMedia(Fault("not-supported", f"A search is posted as {FORM}."))
    check_encoding(content_encoding)


def check_encoding(content_encoding: str) -> None:
    """Raise WrongMedia for a compressed body: its real size is only known after unpacking it."""
    if content_encoding.strip().lower() not in {"", "identity"}:
        raise WrongMedia(Fault("not-supported", "Compressed bodies are not taken; send it without Content-Encoding."))


def _offer(part: str) -> tuple[float, str]:
    """(weight, our type) of one media range; 0 when it is none of ours. Ties go to application/fhir+json."""
    name, parameters = _parsed(part)
    if parameters.get("fhirversion", "") not in _RELEASES:
        return 0.0, ""
    ours = {"*/*": OURS[0], "application/*": OURS[0], "text/*": "text/json"}.get(name, name if name in OURS else "")
    return (_weight(parameters.get("q", "1")) if ours else 0.0) - OURS.index(ours or OURS[0]) * 1e-6, ours


def _weight(text: str) -> float:
    try:
        return min(max(float(text), 0.0), 1.0)
    except ValueError:
        return 0.0


def _parsed(text: str) -> tuple[str, dict[str, str]]:
    name, *rest = text.split(";")
    pairs = (one.partition("=") for one in rest)
    return name.strip().lower(), {key.strip().lower(): value.strip().strip('"') for key, _, value in pairs}


def _typed(name: str) -> bytes:
    return f"{name}; charset=utf-8".encode()


def _json_only(given: str) -> NotAcceptable:
    return NotAcceptable(Fault("not-supported", f"{given}: answers are JSON of FHIR R4 only; ask for {OURS[0]}."))


def _wrong(text: str) -> WrongMedia:
    return WrongMedia(Fault("not-supported", f"{text} Send {OURS[0]} in UTF-8."))
