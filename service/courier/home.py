"""A post to an organisation of this very service into what that organisation does with it, and what follows."""

from collections.abc import Callable
from dataclasses import dataclass, field

from service.actions import take_over
from service.actions.ports import House
from service.basics import destination
from service.basics.errors import Busy, Refusal
from service.courier.ports import Leased
from service.courier.verdict import DEAD, DELIVERED, WAITING, Verdict


@dataclass(slots=True)
class AtHome:
    """Takes posts over; the house is opened with the first one, for most couriers never have any."""

    open: Callable[[], House]
    _house: House | None = field(default=None, repr=False)

    def __call__(self, post: Leased) -> Verdict:
        """What came of it: a store that is busy is asked again, whatever else is refused needs a person."""
        self._house = self._house or self.open()
        agreement = destination.read(post.settings).agreement
        given = take_over.Handed(post.organization, post.key, agreement, post.event, post.thread, post.body)
        try:
            return Verdict(DELIVERED, take_over.take(self._house, given))
        except Busy as busy:
            return Verdict(WAITING, busy.faults[0].text)
        except Refusal as refusal:
            take_over.refused(self._house, given, refusal)
            return Verdict(
                DEAD, "; ".join(f"{f.where}: {f.text}" if f.where else f.text for f in refusal.faults)[:2000]
            )
