"""Turns rows about urgent findings into rules whose triggers name only what can be found or measured."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import Decimal

from service.catalogue.catalogue import Catalogue
from service.catalogue.measurements import MeasureKey
from service.catalogue.rows_urgent import TierRow, UrgentRow
from service.catalogue.senders import NOTES
from service.catalogue.sheets import Line, Sheets
from service.exam.rules import Attribute, MeasureRule, Structure
from service.exam.urgent import Test, Tier, Trigger, UrgentRule, touched

Vocabularies = Mapping[str, tuple[Attribute, ...]]
BOTH = frozenset({"dog", "cat"})
NOTE = "note"  # the place of what is said of the animal
_TEST = re.compile(r"(?P<places>[a-z_|]+)\.(?P<keys>[a-z|-]+)(?P<sign>!=|<=|>=|=|<|>)(?P<rest>\S.*)")
_NUMBER = re.compile(r"(?P<number>\d+(\.\d+)?) (?P<unit>\S+?)(?P<twice> twice)?")
_SPECIES = re.compile(r"(?:(dog|cat): )?(.+)")


def with_urgent(found: Catalogue, sheets: Sheets) -> Catalogue:
    """The catalogue with what its structures, vocabularies and measures let be told at once."""
    rules = urgent(sheets, structures=found.structures, vocabularies=found.vocabularies, measures=found.measures)
    return replace(found, urgent=rules, tiers=tiers(sheets), urgent_items=touched(rules.values()))


def tiers(sheets: Sheets) -> dict[int, Tier]:
    """The tiers by number; all three must be there."""
    found: dict[int, Tier] = {}
    for placed in sheets.read("urgent-tiers.csv", TierRow):
        row = placed.row
        if row.escalate_minutes > row.breach_minutes:
            sheets.fault(placed.line, "escalates after it is overdue")
        found[int(row.tier)] = Tier(
            int(row.tier),
            row.title,
            row.priority,
            row.escalate_minutes,
            row.breach_minutes,
            row.voice,
            row.finish_waits,
        )
    missing = sorted({1, 2, 3} - set(found))
    sheets.faults.extend(f"urgent-tiers.csv:0: tier {number} is missing" for number in missing)
    return found


def urgent(
    sheets: Sheets,
    *,
    structures: Mapping[str, Structure],
    vocabularies: Vocabularies,
    measures: Mapping[MeasureKey, MeasureRule],
) -> dict[str, UrgentRule]:
    """The rules by code, in the order of the file."""
    found: dict[str, UrgentRule] = {}
    reader = _Reader(sheets, structures, vocabularies, measures)
    for placed in sheets.read("urgent-findings.csv", UrgentRow):
        row = placed.row
        species = BOTH if row.species == "both" else frozenset({row.species})
        if row.triggers and not row.tier:
            sheets.fault(placed.line, "what data can suggest has a tier")
        triggers = tuple(reader.trigger(placed.line, text, species) for text in row.triggers)
        found[row.finding] = UrgentRule(row.finding, row.title, int(row.tier or 0), species, triggers, row.advice)
    return found


class _Reader:
    """Reads triggers, keeping every fault with its line."""

    def __init__(
        self,
        sheets: Sheets,
        structures: Mapping[str, Structure],
        vocabularies: Vocabularies,
        measures: Mapping[MeasureKey, MeasureRule],
    ) -> None:
        self.sheets, self.structures, self.vocabularies, self.measures = sheets, structures, vocabularies, measures

    def trigger(self, line: Line, text: str, species: frozenset[str]) -> Trigger:
        """One alternative: an optional species, and conditions joined by " + "."""
        named = _SPECIES.fullmatch(text)
        only, conditions = (named[1], named[2]) if named else (None, text)
        if only and only not in species:
            self.sheets.fault(line, f'"{text}" is for a {only}, which the row leaves out')
        held = frozenset({only}) if only else species
        tests = [self._test(line, one, held) for one in conditions.split(" + ")]
        return Trigger(tuple(t for t in tests if t is not None), held)

    def _test(self, line: Line, text: str, species: frozenset[str]) -> Test | None:
        parts = _TEST.fullmatch(text)
        if parts is None:
            self.sheets.fault(line, f'"{text}" is no condition such as spleen.size=normal or spleen.thickness>15 mm')
            return None
        keys, sign, rest = parts["keys"].split("|"), parts["sign"], parts["rest"]
        if parts["places"] == NOTE:
            return self._note(line, keys, sign=sign, rest=rest)
        places = frozenset(s for name in parts["places"].split("|") for s in self._structures(line, name))
        if sign in {"=", "!="}:
            self._known(line, places, keys=keys, values=rest.split("|"))
            return Test(places, _items("finding", keys), sign, frozenset(rest.split("|")))
        return self._measured(line, Test(places, _items("measure", keys), sign), rest=rest, species=species)

    def _note(self, line: Line, keys: list[str], *, sign: str, rest: str) -> Test | None:
        if sign not in {"=", "!="} or set(keys) - NOTES:
            self.sheets.fault(line, f"note.{'|'.join(keys)} cannot be compared so; notes: {', '.join(sorted(NOTES))}")
            return None
        return Test(frozenset({""}), _items("note", keys), sign, frozenset(rest.split("|")))

    def _structures(self, line: Line, name: str) -> list[str]:
        """The structures that a name means: one, or all that share a vocabulary."""
        found = [s.key for s in self.structures.values() if name in {s.key, s.vocabulary}]
        known = self.sheets.known("structures.csv", "structure") | self.sheets.known("structures.csv", "vocabulary")
        if name not in known:
            self.sheets.fault(line, f'"{name}" is neither a structure nor a vocabulary')
        return found

    def _known(self, line: Line, places: Iterable[str], *, keys: list[str], values: list[str]) -> None:
        """Every value must be one that each of the places can have."""
        for name in sorted({self.structures[p].vocabulary for p in places}):
            attributes = {a.key: {v.code.rpartition(".")[2] for v in a.values} for a in self.vocabularies.get(name, ())}
            for key in keys:
                for value in sorted(set(values) - attributes.get(key, set())):
                    self.sheets.fault(line, f"{name} has no finding {key}={value}")

    def _measured(self, line: Line, test: Test, *, rest: str, species: frozenset[str]) -> Test | None:
        amount = _NUMBER.fullmatch(rest)
        if amount is None:
            self.sheets.fault(line, f'"{rest}" is no amount such as 13 mm')
            return None
        keys = {item.partition(":")[2] for item in test.items}
        units = {
            r.unit for (s, p, k), r in self.measures.items() if s in species and p in test.structures and k in keys
        }
        if test.structures and units != {amount["unit"]}:
            self.sheets.fault(
                line, f"{'|'.join(sorted(keys))} is measured there in {', '.join(sorted(units)) or 'no unit'}"
            )
        limit, times = Decimal(amount["number"]), 2 if amount["twice"] else 1
        return Test(test.structures, test.items, test.sign, limit=limit, unit=amount["unit"], times=times)


def _items(head: str, keys: Iterable[str]) -> frozenset[str]:
    return frozenset(f"{head}:{key}" for key in keys)
