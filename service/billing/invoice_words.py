"""The words of a printed invoice, by key: which places each fills, and which language's words are taken."""

from collections.abc import Mapping

Words = Mapping[str, str]
DEFAULT = "en"
_NONE: frozenset[str] = frozenset()

PLACES: Mapping[str, frozenset[str]] = {
    **dict.fromkeys(("title-invoice", "title-credit", "title-estimate"), _NONE),
    **dict.fromkeys(
        ("notice-cancelled", "notice-entered-in-error", "notice-balanced", "notice-estimate", "notice-replaced"), _NONE
    ),
    **dict.fromkeys(("seller", "buyer", "tax-number", "issued", "supplied", "credits"), _NONE),
    **dict.fromkeys(("terms", "bank", "animal", "examined", "performer", "exam"), _NONE),
    **dict.fromkeys(("line", "service", "quantity", "rate", "net", "outside"), _NONE),
    "reason": frozenset({"reason"}),
    "each": frozenset({"amount"}),
    "with-tax": frozenset({"amount"}),
    "share": frozenset({"percent", "amount"}),
    "discount": frozenset({"reason"}),
    "authorisation": frozenset({"number"}),
    **dict.fromkeys(
        ("total-net", "total-tax", "total-gross", "cash-rounding", "due-invoice", "due-credit", "due-estimate"), _NONE
    ),
    **dict.fromkeys(("taxes", "category", "base", "tax"), _NONE),
    **dict.fromkeys((f"tax-{category}" for category in ("S", "Z", "E", "O", "AE", "K", "G")), _NONE),
    **dict.fromkeys(("rounding-group", "rounding-line", "gross-net-first", "gross-tax-first"), _NONE),
    **dict.fromkeys(("care", "withdrawn"), _NONE),
    "page": frozenset({"page", "pages"}),
    "replaced": _NONE,
}
"""Every phrase that is printed, with the places in braces that its text has to fill."""


def spoken(words: Mapping[str, Words], language: str) -> tuple[str, Words]:
    """The words for a language such as de-AT, and the language that they are of: its own, else de's, else English."""
    for known in (language, language.partition("-")[0]):
        if known in words:
            return language, words[known]
    return DEFAULT, words.get(DEFAULT, {})


def say(words: Words, key: str, **places: str) -> str:
    """The phrase with its places filled."""
    return words[key].format(**places)
