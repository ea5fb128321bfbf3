"""Two clocks held side by side, into whether the one that can be set was set, and whether it can be trusted by now."""

from collections.abc import Callable
from dataclasses import dataclass

from service.courier.patience import Now

JUMP = 5.0  # seconds by which the clocks may part between two looks: more is no drift


@dataclass(slots=True)
class Watch:
    """now: the time of day; steady: seconds of a clock that nobody sets; wary: seconds until leases are trusted again.

    After a jump no lease counts as run out: whoever holds it took it by the time before, and is most likely alive."""

    now: Now
    steady: Callable[[], float]
    wary: float
    _parted: float | None = None  # how far the clocks were apart at the last look
    _until: float = 0.0

    def moved(self) -> bool:
        """Whether the clock was set since the last look; also at the first one, for nobody looked before."""
        steady = self.steady()
        parted = self.now().timestamp() - steady
        first, jumped = self._parted is None, abs(parted - (self._parted or parted)) > JUMP
        self._parted = parted
        if jumped:
            self.doubt()
        return first or jumped

    def doubt(self) -> None:
        """Trust no lease to have run out until every one that is held now has."""
        self._until = self.steady() + self.wary

    def trusted(self) -> bool:
        """Whether a lease that has run out by this clock has run out."""
        return self.steady() >= self._until
