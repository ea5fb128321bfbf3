"""A key of ours by which assertions are signed, and when it is its turn."""

from collections.abc import Iterable
from dataclasses import dataclass, field

ALGORITHMS = ("ES384", "RS384")
"""What SMART App Launch 2 has clients know; where either will do, the first is used, for it is the quicker one."""
PUBLISHED_SECONDS = 600
"""For how long others may keep the published keys without looking again."""
LEAD_US = 3 * PUBLISHED_SECONDS * 1_000_000


@dataclass(frozen=True, slots=True)
class SigningKey:
    """private and public are JWKs as JSON text; made_us: microseconds since the epoch; retired: an instant or ""."""

    kid: str
    alg: str
    private: str = field(repr=False)
    public: str
    made: str
    retired: str
    made_us: int


def in_turn(keys: Iterable[SigningKey], *, algorithms: Iterable[str], now_us: int) -> SigningKey | None:
    """The key to sign with now: the newest that everybody can have seen published, else the oldest; None without any.

    algorithms: those that will do, the best first."""
    live = [one for one in keys if not one.retired]
    for algorithm in algorithms:
        fit = sorted((one for one in live if one.alg == algorithm), key=lambda one: one.made_us)
        seen = [one for one in fit if one.made_us <= now_us - LEAD_US]
        if fit:
            return seen[-1] if seen else fit[0]
    return None
