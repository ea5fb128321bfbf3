"""A token into who bears it, remembered for at most five seconds so that a read need not ask the store twice."""

from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic, time

from service.access import tokens

SECONDS = 5.0
_LIMIT = 1024


@dataclass(frozen=True, slots=True)
class Bearer:
    """Who bears a token: one organisation of one kind, with the token's scopes and label.

    role: a ceiling over the scopes, "" for none; party: whose side it is on; until: when it ends, in seconds since
    the epoch, 0 for never; client: whose assertion it was given for, or ""."""

    organization: str
    kind: str
    scopes: tuple[str, ...]
    label: str
    role: str = ""
    party: str = ""
    until: float = 0.0
    client: str = ""


class Keyring:
    """Finds the bearer of a token. `find` asks the store by fingerprint; a revoked token is refused within SECONDS."""

    def __init__(
        self,
        find: Callable[[str], Bearer | None],
        *,
        clock: Callable[[], float] = monotonic,
        now: Callable[[], float] = time,
    ) -> None:
        self._find = find
        self._clock = clock
        self._now = now
        self._seen: dict[str, tuple[float, Bearer]] = {}

    def remembered(self, token: str) -> Bearer | None:
        """The bearer if the store was asked in the last SECONDS and the token has not ended; touches no store."""
        kept = self._seen.get(tokens.fingerprint(token))
        if kept is None or self._clock() >= kept[0]:
            return None
        return None if 0 < kept[1].until <= self._now() else kept[1]

    def bearer(self, token: str) -> Bearer:
        """The bearer, asking the store; raises Unrecognised. Only tokens that are valid are remembered."""
        print_ = tokens.fingerprint(token)
        found = self._find(print_)
        if found is None:
            self._seen.pop(print_, None)
            raise tokens.unknown()
        if len(self._seen) >= _LIMIT:
            self._seen.clear()
        self._seen[print_] = (self._clock() + SECONDS, found)
        return found
