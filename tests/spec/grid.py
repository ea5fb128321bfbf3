"""Survey grids drawn in Markdown, played row by row against the pure core."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

from service.catalogue.files import read_folder
from service.catalogue.load import load
from service.exam.act import Act
from service.exam.animal import Animal
from service.exam.entries import items
from service.exam.noted import asked
from service.exam.owed import owed
from service.exam.protocol import rule_of, steps_for
from service.exam.settle import decide
from service.exam.survey import Entry, Step
from service.exam.survey_state import note, retract, settle_elsewhere, state

HERE = Path(__file__).parent
MAPPINGS = cache(lambda: load(read_folder()))


@dataclass
class Table:
    """One drawn table: where it stands, what it is of, its header and its rows of cells."""

    file: str
    title: str
    species: str
    steps: list[str]
    header: list[str]
    rows: list[list[str]] = field(default_factory=list)


def tables() -> Iterator[Table]:
    """All tables of the folder, in the order in which they are printed."""
    for path in sorted(HERE.glob("*.md")):
        title, species, steps, table = "", "dog", [""], None
        for line in path.read_text(encoding="utf-8").splitlines():
            if line.startswith("#"):
                title = line.lstrip("# ")
            elif found := re.match(r"Steps? of a (dog|cat): (.+)\.$", line):
                species, steps = found[1], [s.strip("` ") for s in found[2].split(",")]
            elif not line.startswith("|"):
                if table is not None:
                    yield table
                table = None
            elif table is None:
                table = Table(path.name, title, species, steps, _cells(line))
            elif not set(line) <= set("|-: "):
                table.rows.append(_cells(line))
        if table is not None:
            yield table


def _cells(line: str) -> list[str]:
    return [c.strip().strip("`") for c in line.strip().strip("|").split("|")]


def surveyed(said: str) -> dict[str, str]:
    """The requirement of each step that an animal in words ("dog male intact testes=1") is asked for."""
    words = said.split()
    testes = next((int(w.partition("=")[2]) for w in words if w.startswith("testes=")), None)
    animal = Animal(
        id="1",
        species=words[0],
        sex=next((w for w in words if w in {"male", "female"}), ""),
        neutered={"neutered": True, "intact": False}.get(next((w for w in words if w in {"neutered", "intact"}), "")),
        scrotal_testes=testes,
        pregnant=True if "pregnant" in words else None,
        uterus=True if "uterus-left" in words else None,
        in_heat=True if "in-heat" in words else None,
    )
    catalogue = MAPPINGS()
    rules = steps_for(catalogue.protocols[animal.species], animal, catalogue.services["full"])
    return {rule.code: rule.requirement for rule in rules}


class Play:
    """The steps of one table while its rows are played. Sources are named by the rows' order: s1, s2 ..."""

    def __init__(self, table: Table) -> None:
        protocol = MAPPINGS().protocols[table.species]
        self.steps = {code: Step(code, rule) for code in table.steps if (rule := rule_of(protocol, code))}
        self.minute = 0
        self.count = 0

    def do(self, said: str) -> str:
        """Play one row: "[step:] verb words [at mm]"; returns the refusal, "" when it was taken."""
        self.count += 1
        self.minute += 1
        code, _, rest = said.rpartition(": ")
        code = code or next(iter(self.steps))
        words = rest.split()
        minute = self.minute
        if len(words) > 2 and words[-2] == "at":
            minute, words = int(words[-1]), words[:-2]
        refused = self._play(code, words, at=f"2026-11-25T10:{minute:02}:00Z")
        codes = [c for c, s in self.steps.items() if s.rule.settles and self.state(c)[0] == "completed"]
        self.steps = {s.rule.code: s for s in settle_elsewhere(list(self.steps.values()), codes)}
        return refused

    def _play(self, code: str, words: list[str], *, at: str) -> str:
        verb, rest = words[0], words[1:]
        step = self.steps[code]
        source = f"s{self.count}"
        if verb == "nothing":
            return ""
        if verb == "withdrawn":
            self.steps[code] = retract(step, rest[0], at=at)
            return ""
        if verb == "states":
            self.steps[code] = self._stated(step, at=at)
            return ""
        if verb in {"still", "clip", "measures", "finds", "plane", "unread", "lesion", "record"}:
            self.steps[code] = note(step, [replace(e, at=at) for e in _sent(verb, rest, source)])
            return ""
        return self._act(step, _act(verb, rest, key=source, at=at))

    def _act(self, step: Step, act: Act) -> str:
        catalogue = MAPPINGS()
        done = decide(step, act, attributes=self.attributes(step), reasons=catalogue.reasons)
        if done.faults:
            return "; ".join(f.text for f in done.faults)
        taken = [e for e in step.entries if any(e is x for x in done.ended)]
        for entry in taken:
            kept = replace(entry, item=f"retracted:{entry.item}")
            step = replace(step, entries=tuple(kept if e is entry else e for e in step.entries))
        self.steps[step.rule.code] = note(step, [m.entry for m in done.made])
        return ""

    def _stated(self, step: Step, *, at: str) -> Step:
        """Every statement still open is sent, each in its first value."""
        while True:
            open_ = [a for a in asked(step, self.attributes(step)) if f"finding:{a.key}" not in items(step)]
            if not open_:
                return step
            values = [(a.key, a.values[0].code) for a in open_]
            step = note(step, [Entry(f"finding:{k}", f"s{self.count}{k}", at, "", v) for k, v in values])

    def attributes(self, step: Step):  # type: ignore[no-untyped-def]
        structure = MAPPINGS().structures.get(step.rule.structure)
        return MAPPINGS().vocabularies[structure.vocabulary] if structure else ()

    def state(self, code: str) -> tuple[str, str]:
        step = self.steps[code]
        return state(step, owed(step, self.attributes(step)))

    def cell(self, column: str, code: str) -> str:
        """What a cell shows: . owed (a number: how many), x entered, o excused, - not asked; or the state."""
        step = self.steps[code]
        missing = [o.item for o in owed(step, self.attributes(step))]
        if column == "status":
            return self.state(code)[0]
        if column == "state":
            return self.state(code)[1]
        if column == "statements":
            return str(sum(i.startswith("finding:") for i in missing))
        item = f"plane:{column}" if column in {"long", "short", "multi"} else column
        item = item if item in {"still", "clip", "lesion", "record-conflict"} or ":" in item else f"measure:{column}"
        if item in missing:
            return "."
        found = items(step)
        return "x" if item in found else "o" if f"excused:{item}" in found else "-"


def _sent(verb: str, rest: list[str], source: str) -> list[Entry]:
    if verb == "finds":
        key, _, value = rest[0].partition("=")
        return [Entry(f"finding:{key}", source, "", "", value)]
    if verb == "unread":
        return [Entry(f"unread:{rest[0]}", source, "", "")]
    if verb == "plane":
        return [Entry(f"plane:{rest[0]}", source, "", "")]
    if verb == "lesion":
        return [Entry(f"lesion:{rest[0]}", source, "", "", " ".join(rest[1:]).removeprefix("without "))]
    if verb == "record":
        return [Entry(f"on-record:{rest[0]}", source, "", "", " ".join(rest[1:]))]
    key, _, value = rest.pop(0).partition("=") if verb == "measures" else ("", "", "")
    item = f"measure:{key}" if key else verb
    return [Entry(item, source, "", "", value), *(Entry(f"plane:{p}", source, "", "") for p in rest)]


def _act(verb: str, rest: list[str], *, key: str, at: str) -> Act:
    act = Act(key, at, "Dr. Invented")
    given = dict(word.split("=", 1) for word in rest if "=" in word)
    plain = [word for word in rest if "=" not in word]
    if verb == "takes-back":
        return replace(act, retract=True, item=given.get("item", ""))
    if verb == "excuses":
        return replace(act, item=plain[0], reason="".join(plain[1:]), detail=given.get("detail", ""))
    if verb == "answers":
        return replace(act, answers=tuple((f"statement:{k}", v) for k, v in given.items()))
    assert verb == "says", verb
    return replace(
        act,
        disposition=plain[0],
        reason=plain[1] if len(plain) > 1 else "",
        operation=given.get("operation", ""),
        detail=given.get("detail", ""),
        window=given.get("window", ""),
        station=int(given["station"]) if "station" in given else None,
        planes=tuple(filter(None, given.get("planes", "").split("+"))),
    )
