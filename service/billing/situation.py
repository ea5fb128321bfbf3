"""What an exam was like, as far as a price can depend on it, and whether a price's conditions hold."""

from dataclasses import dataclass
from decimal import Decimal

PRIORITIES = ("routine", "urgent", "asap", "stat")  # R4 request-priority
GRADES = ("general", "sonographer", "specialist")


@dataclass(frozen=True, slots=True)
class Situation:
    """One exam. scope: charge code of the exam line; closed: out of hours, None when the time of day is not known.

    requesters: every name by which the one who asked is known: "Organization/<id>", "<system>|<value>"."""

    scope: str = ""
    species: str = ""
    weight_kg: Decimal | None = None
    priority: str = "routine"
    closed: bool | None = None
    grade: str = ""
    requesters: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Conditions:
    """When a price applies; what is empty or None does not matter. The lower end of the weight is included."""

    scopes: tuple[str, ...] = ()
    species: str = ""
    weight_from: Decimal | None = None
    weight_below: Decimal | None = None
    priorities: tuple[str, ...] = ()
    hours: str = ""  # in, out
    grades: tuple[str, ...] = ()
    requesters: tuple[str, ...] = ()

    @property
    def by_weight(self) -> bool:
        """Whether the animal's weight matters."""
        return self.weight_from is not None or self.weight_below is not None

    def hold(self, at: Situation) -> bool:
        """Whether all of them hold; what is not known of the exam fulfils no condition."""
        return (
            _one_of(at.scope, self.scopes)
            and _one_of(at.species, (self.species,) if self.species else ())
            and self._weighs(at.weight_kg)
            and _one_of(at.priority, self.priorities)
            and (not self.hours or at.closed is (self.hours == "out"))
            and _one_of(at.grade, self.grades)
            and (not self.requesters or bool(set(self.requesters) & set(at.requesters)))
        )

    def unknown(self, at: Situation) -> str:
        """What would have to be known of the exam before these conditions can be judged; "" when all is known."""
        if self.by_weight and at.weight_kg is None:
            return "the animal's weight"
        if self.hours and at.closed is None:
            return "the time of day at which the exam began"
        return "who performed it, and with which grade" if self.grades and not at.grade else ""

    def apart(self, other: "Conditions") -> bool:
        """Whether no exam can fulfil both."""
        pairs = (
            (self.scopes, other.scopes),
            ((self.species,) if self.species else (), (other.species,) if other.species else ()),
            (self.priorities, other.priorities),
            ((self.hours,) if self.hours else (), (other.hours,) if other.hours else ()),
            (self.grades, other.grades),
        )  # fmt: skip
        return any(a and b and not set(a) & set(b) for a, b in pairs) or self._lighter(other) or other._lighter(self)

    def _weighs(self, weight: Decimal | None) -> bool:
        if not self.by_weight:
            return True
        if weight is None or (self.weight_from is not None and weight < self.weight_from):
            return False
        return self.weight_below is None or weight < self.weight_below

    def _lighter(self, other: "Conditions") -> bool:
        return (
            self.weight_below is not None and other.weight_from is not None and self.weight_below <= other.weight_from
        )


def _one_of(value: str, wanted: tuple[str, ...]) -> bool:
    return not wanted or value in wanted
