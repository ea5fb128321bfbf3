"""Sorts the ended steps of an exam by why the report is no clearance of them."""

from dataclasses import dataclass

from service.exam.entries import was_left
from service.exam.report_parts import Rules
from service.exam.report_step import Ended
from service.exam.survey import Entry


@dataclass(frozen=True, slots=True)
class Unseen:
    """Steps that nobody saw in full. left: not examined; sought: looked for, not seen; part: seen in part only."""

    left: Ended
    sought: Ended
    missing: Ended  # not found, and no operation on record
    part: Ended
    absent: Ended  # after surgery
    optional: Ended  # nothing was asked and nothing recorded

    @property
    def any(self) -> bool:
        """Whether a structure that was asked for was not seen, or only in part."""
        return bool(self.left or self.sought or self.missing or self.part)


def unseen(ended: Ended, rules: Rules) -> Unseen:
    """The steps by what keeps the report from being a clearance of them; a step without any reason was not examined."""
    kinds = {k: tuple(e for e in ended if e[1].kind == k) for k in {o.kind for _, o in ended}}
    denied, blank = kinds.get("not-seen", ()), kinds.get("blank", ())
    sought = tuple(e for e in denied if examined(e[1].entry, rules))
    left = (e for e in denied if not examined(e[1].entry, rules))
    return Unseen(
        left=(
            *left,
            *kinds.get("deferred", ()),
            *(e for e in blank if e[0].rule.owed_from_start),
        ),
        sought=sought,
        missing=kinds.get("absent-unexplained", ()),
        part=kinds.get("seen-part", ()),
        absent=kinds.get("absent-surgical", ()),
        # a second look at what another step has asked for is no structure of its own
        optional=tuple(e for e in blank if not e[0].rule.owed_from_start and not e[0].rule.settles),
    )


def examined(entry: Entry | None, rules: Rules) -> bool:
    """Whether "not seen" means that it was looked for: not with an unknown reason, nor where the rest was left."""
    known = rules.reasons.get(entry.reason) if entry else None
    return bool(entry and known and known.counts_as_examined and not was_left(entry))


def titles(ended: Ended) -> list[str]:
    """The titles of the steps."""
    return [step.rule.title for step, _ in ended]
