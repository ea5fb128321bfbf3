"""The sentences a report is made of, by key: which places each fills, and the rows' words put into them."""

from collections.abc import Mapping

ONE = {"it": "it", "its": "its", "is": "is", "was": "was", "has": "has", "holds": "holds", "lies": "lies"}
MANY = {"it": "they", "its": "their", "is": "are", "was": "were", "has": "have", "holds": "hold", "lies": "lie"}
PRONOUNS = frozenset(ONE)
"""Places that follow the number of what is spoken of."""

LABELS = (
    *("practice", "animal", "identifier", "owner", "species", "breed", "sex", "age", "weight", "referrer"),
    *("examination", "order-number", "examined", "report-issued", "history", "question", "scope", "fasting"),
    *("sedation", "doppler", "windows", "recumbency", "probe", "clipping", "ideal-weight", "stability", "azotaemia"),
    *("heat", "scanned-by", "interpreted-by", "status", "issued", "study", "not-examined", "not-examined-yet"),
    *("sought", "missing", "part", "absent", "optional", "not-recorded", "outside", "unread", "unchanged"),
    "not-computed",
)
"""What stands before a statement, as phrases called label-..."""
ALWAYS_NEW = ("report-issued", "issued", "status")
"""Labels of what differs between any two issues by itself and says nothing about the animal."""

PLACES: Mapping[str, frozenset[str]] = {
    "seen": PRONOUNS,
    "seen-in": PRONOUNS | {"planes"},
    "seen-through": PRONOUNS | {"windows"},
    "seen-in-through": PRONOUNS | {"planes", "windows"},
    "seen-part": PRONOUNS | {"reason"},
    "seen-elsewhere": PRONOUNS | {"elsewhere"},
    "second-look": PRONOUNS | {"reason"},
    "second-look-absent": PRONOUNS,
    "sought": PRONOUNS | {"reason"},
    "not-examined": PRONOUNS | {"reason"},
    "not-recorded": PRONOUNS,
    "not-recorded-yet": PRONOUNS,
    "deferred": PRONOUNS,
    "absent-surgical": PRONOUNS | {"operation"},
    "absent-unexplained": PRONOUNS,
    "otherwise": frozenset({"clauses"}),
    "calm-in-part": frozenset({"clauses"}),
    "calm-in-part-unnamed": frozenset(),
    "not-assessed-one": frozenset({"attributes"}),
    "not-assessed-many": frozenset({"attributes"}),
    "lesion": frozenset({"number", "words"}),
    "lesion-placed": frozenset({"number", "place", "words"}),
    "lesion-bare": frozenset({"number"}),
    "remark": frozenset({"words"}),
    "unread-one": frozenset({"number"}),
    "unread-many": frozenset({"number"}),
    "above": frozenset({"measurements"}),
    "below": frozenset({"measurements"}),
    "above-hint": frozenset({"measurements"}),
    "below-hint": frozenset({"measurements"}),
    "within-limit": frozenset({"limit"}),
    "above-limit": frozenset({"limit"}),
    "below-limit": frozenset({"limit"}),
    "hint": frozenset(),
    "no-limit": frozenset(),
    "not-compared": frozenset({"reason"}),
    "computed": frozenset({"formula"}),
    "complete": frozenset(),
    "complete-but-absent": frozenset(),
    "none-compared": frozenset(),
    "compared-one": frozenset({"number", "total"}),
    "compared-many": frozenset({"number", "total"}),
    "sources-disagree": frozenset({"topic", "sources"}),
    "no-comparison": frozenset(),
    "compared-with": frozenset({"date"}),
    "change": frozenset({"measurement", "now", "before", "difference"}),
    "change-dated": frozenset({"measurement", "now", "before", "date", "difference"}),
    "change-small": frozenset({"limit"}),
    "change-unweighed": frozenset(),
    "unchanged": frozenset({"measurement", "now"}),
    "unchanged-dated": frozenset({"measurement", "now", "date"}),
    "mean": frozenset(),
    "mean-of": frozenset({"number"}),
    "mean-of-few": frozenset({"number"}),
    "not-computed": frozenset({"results", "reason"}),
    "lacks-weight": frozenset(),
    "lacks-age": frozenset(),
    "lacks-measurement": frozenset({"measurement", "structure"}),
    "limited": frozenset(),
    "ended-early": frozenset({"reason"}),
    "no-conclusion": frozenset(),
    "no-question": frozenset(),
    "urgent-notice": frozenset({"soon", "finding"}),
    "urgent-suggested": frozenset({"when"}),
    "urgent-declined": frozenset({"when", "by", "reason"}),
    "urgent-confirmed": frozenset({"when", "by", "soon"}),
    "urgent-taken-back": frozenset(),
    "urgent-attempt": frozenset({"by", "to", "method", "when", "outcome"}),
    "urgent-attempt-bare": frozenset({"by", "to", "method", "when"}),
    "urgent-passed-on": frozenset({"to"}),
    "urgent-told": frozenset({"to", "method", "by", "when"}),
    "urgent-read-back": frozenset(),
    "urgent-received": frozenset({"when"}),
    "urgent-waiting": frozenset(),
    "urgent-waiting-for": frozenset({"to"}),
    **{f"urgent-{key}": frozenset() for key in ("voice", "in-person", "message", "tier-1", "tier-2", "tier-3")},
    **{f"label-{key}": frozenset() for key in LABELS},
}
"""Every phrase that the report says, and the places that its text may and must fill; pronouns may be left out."""


def missing(key: str, filled: frozenset[str]) -> frozenset[str]:
    """The places that a text of this phrase has to fill and does not."""
    return PLACES[key] - PRONOUNS - filled


def label(phrases: Mapping[str, str], key: str) -> str:
    """What stands before a statement."""
    return phrases[f"label-{key}"]


def say(phrases: Mapping[str, str], key: str, *, many: bool = False, **places: str) -> str:
    """The phrase with its places filled; many: what it speaks of are several."""
    return phrases[key].format(**(MANY if many else ONE), **places)
