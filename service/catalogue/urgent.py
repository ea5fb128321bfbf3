"""Turns rows about urgent findings into rules whose triggers name only what can be found or measured."""

import re
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal

from service.catalogue.catalogue import Catalogue
from service.catalogue.rows_urgent import TierRow, UrgentRow
from service.catalogue.senders import NOTES
from service.catalogue.sheets import Line, Sheets
from service.exam.urgent import LESION_KIND, Condition, Tier, Trigger, UrgentRule, touched

BOTH = frozenset({"dog", "cat"})
NOTE = "note"  # the place of what is said of the animal
LESION = "focal_lesion"  # that of the record of a lesion
_TEST = re.compile(r"(?P<places>[a-z_|]+)\.(?P<keys>[a-z|-]+)(?P<sign>!=|<=|>=|=|<|>)(?P<rest>\S.*)")
_NUMBER = re.compile(r"(?P<number>\d+(\.\d+)?) (?P<unit>\S+?)(?P<twice> twice)?")
_LIMIT = re.compile(r"(?P<name>[A-Z]\S*?)(?P<twice> twice)?")
_SPECIES = re.compile(r"(?:(dog|cat): )?(.+)")


def with_urgent(found: Catalogue, sheets: Sheets) -> Catalogue:
    """The catalogue with what its structures, vocabularies and measures let be told at once."""
    rules = urgent(sheets, found)
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


def urgent(sheets: Sheets, catalogue: Catalogue) -> dict[str, UrgentRule]:
    """The rules by code, in the order of the file. catalogue: what can be found, measured and judged."""
    found: dict[str, UrgentRule] = {}
    reader = _Reader(sheets, catalogue)
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

    def __init__(self, sheets: Sheets, catalogue: Catalogue) -> None:
        self.sheets, self.rows = sheets, catalogue

    def trigger(self, line: Line, text: str, species: frozenset[str]) -> Trigger:
        """One alternative: an optional species, and conditions joined by " + "."""
        named = _SPECIES.fullmatch(text)
        only, conditions = (named[1], named[2]) if named else (None, text)
        if only and only not in species:
            self.sheets.fault(line, f'"{text}" is for a {only}, which the row leaves out')
        held = frozenset({only}) if only else species
        tests = []
        for one in conditions.split(" + "):
            test, species = self._test(line, one, held)
            tests += [test] if test else []
            held &= species
        return Trigger(tuple(tests), held)

    def _test(self, line: Line, text: str, species: frozenset[str]) -> tuple[Condition | None, frozenset[str]]:
        """One condition, and the species that it is known to hold for."""
        parts = _TEST.fullmatch(text)
        if parts is None:
            self.sheets.fault(line, f'"{text}" is no condition such as spleen.size=normal or spleen.thickness>15 mm')
            return None, species
        keys, sign, rest = parts["keys"].split("|"), parts["sign"], parts["rest"]
        if parts["places"] == NOTE:
            return self._note(line, keys, sign=sign, rest=rest), species
        if parts["places"] == LESION:
            return self._lesion(line, keys, sign=sign, values=rest.split("|")), species
        places = frozenset(s for name in parts["places"].split("|") for s in self._structures(line, name))
        if sign in {"=", "!="}:
            self._known(line, places, keys=keys, values=rest.split("|"))
            return Condition(places, _items("finding", keys), sign, frozenset(rest.split("|"))), species
        test = Condition(places, _items("measure", keys), sign)
        named = _LIMIT.fullmatch(rest)
        return self._beyond(line, test, named, species) if named else (self._amount(line, test, rest, species), species)

    def _note(self, line: Line, keys: list[str], *, sign: str, rest: str) -> Condition | None:
        if sign not in {"=", "!="} or set(keys) - NOTES:
            self.sheets.fault(line, f"note.{'|'.join(keys)} cannot be compared so; notes: {', '.join(sorted(NOTES))}")
            return None
        return Condition(frozenset({""}), _items("note", keys), sign, frozenset(rest.split("|")))

    def _lesion(self, line: Line, keys: list[str], *, sign: str, values: list[str]) -> Condition | None:
        """What kind the record of a focal lesion is of, wherever it lies."""
        known = {v.code for a in self.rows.vocabularies.get(LESION, ()) if a.key == "kind" for v in a.values}
        if keys != ["kind"] or sign != "=" or set(values) - known:
            told = ", ".join(sorted(known))
            self.sheets.fault(line, f"of the record of a lesion only its kind is looked at: {LESION}.kind={told}")
            return None
        return Condition(frozenset(self.rows.structures), frozenset({LESION_KIND}), sign, frozenset(values))

    def _structures(self, line: Line, name: str) -> list[str]:
        """The structures that a name means: one, or all that share a vocabulary."""
        known = self.sheets.known("structures.csv", "structure") | self.sheets.known("structures.csv", "vocabulary")
        if name not in known:
            self.sheets.fault(line, f'"{name}" is neither a structure nor a vocabulary')
        return [s.key for s in self.rows.structures.values() if name in {s.key, s.vocabulary}]

    def _known(self, line: Line, places: Iterable[str], *, keys: list[str], values: list[str]) -> None:
        """Every value must be one that each of the places can have."""
        for name in sorted({self.rows.structures[p].vocabulary for p in places}):
            attributes = self.rows.vocabularies.get(name, ())
            had = {a.key: {v.code.rpartition(".")[2] for v in a.values} for a in attributes}
            for key in keys:
                for value in sorted(set(values) - had.get(key, set())):
                    self.sheets.fault(line, f"{name} has no finding {key}={value}")

    def _amount(self, line: Line, test: Condition, rest: str, species: frozenset[str]) -> Condition | None:
        """A number with the unit that is measured in there."""
        amount = _NUMBER.fullmatch(rest)
        if amount is None:
            self.sheets.fault(line, f'"{rest}" is no amount such as 13 mm, nor the name of a limit')
            return None
        keys = {item.partition(":")[2] for item in test.items}
        rows = self.rows.measures.items()
        units = {r.unit for (s, p, k), r in rows if s in species and p in test.structures and k in keys}
        if test.structures and units != {amount["unit"]}:
            told = ", ".join(sorted(units)) or "no unit"
            self.sheets.fault(line, f"{'|'.join(sorted(keys))} is measured there in {told}")
        times = 2 if amount["twice"] else 1
        return replace(test, limit=Decimal(amount["number"]), unit=amount["unit"], times=times)

    def _beyond(
        self, line: Line, test: Condition, named: re.Match[str], species: frozenset[str]
    ) -> tuple[Condition | None, frozenset[str]]:
        """Beyond the end of a limit, and of its grey zone where it has one; for the species that it holds for."""
        limit = self.rows.limit_rows.get(named["name"])
        if limit is None:
            self._no_limit(line, named["name"])
            return None, species
        end, inside = (limit.high, limit.high_inside) if test.sign == ">" else (limit.low, limit.low_inside)
        measured = {(p, i.partition(":")[2]) for p in test.structures for i in test.items}
        others = sorted(measured - {(s, limit.measure) for s in limit.structures})
        flagging = {">": "H", "<": "L"}.get(test.sign) in limit.flags
        if end is None or not flagging or limit.band.bounded or others or not species & {*limit.species}:
            text = f"{limit.id} flags no such end for every weight, structure, measure and species named here"
            self.sheets.fault(line, text)
            return None, species
        strict = inside or limit.grey is not None
        found = replace(
            test,
            sign=test.sign if strict else f"{test.sign}=",
            limit=end if limit.grey is None else limit.grey,
            unit=limit.unit,
            times=2 if named["twice"] else 1,
        )
        return found, species & {*limit.species}

    def _no_limit(self, line: Line, name: str) -> None:
        if name not in self.sheets.known("limits.csv", "limit"):
            self.sheets.fault(line, f'"{name}" is not in limits.csv')


def _items(head: str, keys: Iterable[str]) -> frozenset[str]:
    return frozenset(f"{head}:{key}" for key in keys)
