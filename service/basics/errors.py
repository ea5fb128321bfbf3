"""What can be refused, in words a person can act on.

Refusal                      one or more faults, nothing stored
|- Invalid                   cannot be understood or fails FHIR's own rules
|- RuleBroken                valid FHIR, but our published rules forbid it
|- Conflict                  forbidden by the present state
|- Stale                     a condition (If-Match, a criterion) does not hold
|- ConditionRequired         this change needs If-Match
|- Missing                   no such thing, or not the caller's
|- Gone                      deleted
|- NotAllowed                this interaction is not offered here
|- NotPermitted              the token lacks the scope
|- Unrecognised              no token, or not a valid one
|- TooLarge                  over a published limit
|- WrongMedia                a body in a format not taken
|- NotAcceptable             an answer asked for in a format not given
|- Busy                      try again later
`- Full                      storage cannot take it
"""

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong: an R4 issue-type code, a sentence, and the FHIRPath of the place."""

    reason: str
    text: str
    where: str = ""

    def inside(self, place: str) -> "Fault":
        """The same fault, seen from the holder of `place` (Bundle.entry[3].resource)."""
        head, _, rest = self.where.partition(".")
        if not self.where:
            return replace(self, where=place)
        if head[:1].isupper():  # a path that starts with the resource type
            return replace(self, where=f"{place}.{rest}" if rest else place)
        return replace(self, where=f"{place}.{self.where}")


class Refusal(Exception):
    """Something was refused; nothing was stored."""

    def __init__(self, *faults: Fault, retry_after: int | None = None) -> None:
        super().__init__("; ".join(f.text for f in faults) or (self.__doc__ or ""))
        self.faults = faults
        self.retry_after = retry_after

    def inside(self, place: str) -> "Refusal":
        """The same refusal with every fault seen from the holder of `place`."""
        return type(self)(*(f.inside(place) for f in self.faults), retry_after=self.retry_after)


class Invalid(Refusal):
    """The request cannot be understood."""


class RuleBroken(Refusal):
    """A published rule of this service forbids it."""


class Conflict(Refusal):
    """The present state forbids it."""

    overtaken = ""  # Type/id of what another request changed first, where it was that


class Stale(Refusal):
    """A condition of the request does not hold."""


class ConditionRequired(Refusal):
    """This change needs If-Match with the version it is based on."""


class Missing(Refusal):
    """There is no such thing."""


class Gone(Refusal):
    """It was deleted."""


class NotAllowed(Refusal):
    """This interaction is not offered here."""


class NotPermitted(Refusal):
    """The token does not allow it."""


class Unrecognised(Refusal):
    """A valid token is needed."""


class TooLarge(Refusal):
    """It is over a published limit."""


class WrongMedia(Refusal):
    """The body's format is not taken; send application/fhir+json."""


class NotAcceptable(Refusal):
    """Only JSON is given."""


class Busy(Refusal):
    """The store is busy; try again shortly."""


class Full(Refusal):
    """The store cannot take more."""
