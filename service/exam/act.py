"""One explicit act of a person on a step, as asked for."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Act:
    """key: unique to this act. at: when it was stated (an instant or dateTime); timed: whether the caller gave `at`.

    disposition: seen, seen-part, not-seen, absent-surgical, absent-unexplained, deferred, or "" for planes alone.
    item: one item to be excused ("still", "plane:long"). answers: pairs such as ("statement:sex", "female").
    source: the Observation that states it, "" when the act itself is the statement."""

    key: str
    at: str
    by: str
    disposition: str = ""
    reason: str = ""
    detail: str = ""
    operation: str = ""
    planes: tuple[str, ...] = ()
    window: str = ""
    station: int | None = None
    item: str = ""
    retract: bool = False
    answers: tuple[tuple[str, str], ...] = ()
    source: str = ""
    timed: bool = False
