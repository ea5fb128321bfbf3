"""What actions need of the store to keep subscriptions, as Protocols."""

from collections.abc import Callable, Iterable
from typing import Protocol

from service.basics.stored import Stored
from service.basics.subscription import Happening, Subscription


class Watched(Protocol):
    """A look at the subscriptions of one organisation."""

    def subscription(self, id_: str) -> Subscription | None: ...
    def subscriptions(self) -> tuple[Subscription, ...]: ...
    def subscriptions_due(self, now_us: int) -> tuple[Subscription, ...]: ...
    def happenings(self, id_: str, *, first: int, last: int, most: int) -> tuple[Happening, ...]: ...
    def endpoint(self, id_: str) -> tuple[str, str]: ...  # address, and secret headers as JSON text


class Watching(Watched, Protocol):
    """What a unit of work does to them."""

    happened: dict[str, list[Stored]]  # subscription -> versions that it will be told of

    def watchers(self) -> tuple[Subscription, ...]:
        """Those that count events: active, or in error."""

    def at_end(self, act: Callable[[], None]) -> None:
        """Have something done when all else is, so that what it locks is locked last."""

    def hold_subscription(self, id_: str) -> Subscription | None:
        """One of them, held until the end: nobody counts its events meanwhile."""

    def save_subscription(self, one: Subscription) -> None: ...
    def aim(self, one: Subscription, *, url: str, secret: str, settings: str, active: bool) -> None: ...
    def stop_aiming(self, one: Subscription) -> None: ...
    def count_events(
        self, id_: str, seen: Iterable[tuple[str, int]]
    ) -> tuple[Subscription, list[Happening]] | None: ...
    def still_known(self, asker: str) -> bool:
        """Whether a token was not revoked, or a client is still active."""

    def fail_subscription(self, one: Subscription, reason: str) -> None: ...
    def claim_heartbeat(self, one: Subscription) -> Subscription | None: ...
    def forget_happenings(self, before_us: int) -> None: ...
    def acknowledge(self, destination: str, key: str, *, by: str) -> str:
        """Let a post count as delivered on its destination's word; its state before, "" when there is none."""
