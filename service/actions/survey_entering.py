"""The steps of a sheet while evidence is entered, one resource after another, into the sheet after all of it."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from service.actions.survey_sheet import Sheet
from service.exam import survey_state
from service.exam.entries import live
from service.exam.evidence import Evidence, Sighting, Unmapped
from service.exam.spread import Spread, spread
from service.exam.survey import Entry, Step


class Entering:
    """Changes only the steps that a resource touches: a new sheet for each would cost the square of their number.

    stated: dispositions that a sender states, with the code of their step."""

    def __init__(self, sheet: Sheet, *, by: str) -> None:
        self.stated: list[tuple[str, Sighting]] = []
        self._sheet, self._by = sheet, by
        self._steps = {s.rule.code: s for s in sheet.steps}
        self._whole, self._shelved = sheet.whole, sheet.shelved
        self._of_structure: dict[str, list[str]] = {}
        self._resting: dict[str, set[str]] = {}  # source -> codes of the steps in which something rests on it
        for code, step in self._steps.items():
            self._of_structure.setdefault(step.rule.structure, []).append(code)
            for entry in step.entries:
                self._resting.setdefault(entry.source, set()).add(code)

    def retract(self, source: str) -> None:
        """Take back what rests on a resource."""
        at, by = self._sheet.now, self._by
        for code in self._resting.get(source, ()):
            self._steps[code] = survey_state.retract(self._steps[code], source, at=at, by=by)
        self._shelved = tuple(survey_state.retract(s, source, at=at, by=by) for s in self._shelved)
        self._whole = survey_state.retract(self._whole, source, at=at, by=by)

    def renew(self, source: str, found: Sequence[Evidence | Unmapped]) -> None:
        """Enter what a resource says, in the place of what it said before."""
        at, by = self._sheet.now, self._by
        goes = spread(found, self._near(found), now=at)
        self.stated += goes.stated
        told = {*goes.entries, *(code for code, _ in goes.stated)}
        resting = self._resting.setdefault(source, set())
        for code in told | resting:
            step = self._steps[code]
            self._steps[code] = survey_state.renew(step, source, _said(step, goes), at=at, by=by)
        resting |= told
        self._whole = survey_state.renew(self._whole, source, goes.whole, at=at, by=by)

    def sheet(self) -> Sheet:
        """The sheet as it is now."""
        return replace(self._sheet, steps=tuple(self._steps.values()), shelved=self._shelved, whole=self._whole)

    def _near(self, found: Iterable[Evidence | Unmapped]) -> list[Step]:
        """The steps of the structures that are spoken of; those that ask have none, as what is said of the animal."""
        named = dict.fromkeys(
            s for one in found for s in (one.structures if isinstance(one, Unmapped) else (one.structure,))
        )
        return [self._steps[code] for structure in named for code in self._of_structure.get(structure, ())]


def _said(step: Step, goes: Spread) -> list[Entry]:
    """What the resource says of the step now; a disposition of its own that it still states stays as it is."""
    own = goes.entries.get(step.rule.code, [])
    if not goes.stated:
        return own
    codes = {(code, f"disposition:{s.disposition}", s.source) for code, s in goes.stated}
    return [*(e for e in live(step) if (step.rule.code, e.item, e.source) in codes), *own]
