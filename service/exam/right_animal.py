"""Whether an animal that another practice tells of is one known here: matched, new, or for a person to decide."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Told:
    """What tells one animal and its owner: reference; chips, numbers and owners as (system, value); contacts as words.

    contacts: telephone numbers and addresses of the owners, folded; owners: their names, folded, beside numbers."""

    reference: str
    species: str = ""
    name: str = ""
    chips: frozenset[str] = frozenset()
    owner_numbers: frozenset[tuple[str, str]] = frozenset()
    owner_names: frozenset[str] = frozenset()
    contacts: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Candidate:
    """An animal that is known here and might be the one told of, with what agrees and what does not, in words."""

    reference: str
    agrees: tuple[str, ...]
    differs: tuple[str, ...]

    @property
    def certain(self) -> bool:
        """Chip and owner agree, and nothing speaks against it."""
        return {"chip", "owner"} <= set(self.agrees) and not self.differs


@dataclass(frozen=True, slots=True)
class Matched:
    """reference: the animal here that it is, "" for none; doubt: why a person has to decide, "" when nobody has to."""

    reference: str = ""
    doubt: str = ""
    candidates: tuple[Candidate, ...] = ()


def match(told: Told, known: Iterable[Told]) -> Matched:
    """The one animal here whose chip and owner both agree; a half match or several are a person's to decide.

    One of which neither chip, nor owner and name agree, is not thought of: the animal is new here."""
    found = tuple(c for one in known if (c := _candidate(told, one)) is not None)
    certain = [c for c in found if c.certain]
    if not found:
        return Matched()
    if len(certain) == 1 and len(found) == 1:
        return Matched(certain[0].reference, candidates=found)
    why = "several animals here might be meant" if len(found) > 1 else _words(found[0])
    return Matched(doubt=why, candidates=found)


def _candidate(told: Told, known: Told) -> Candidate | None:
    chip = _compared(told.chips, known.chips)
    owner = _owner(told, known)
    name = _compared(frozenset({told.name} - {""}), frozenset({known.name} - {""}))
    species = _compared(frozenset({told.species} - {""}), frozenset({known.species} - {""}))
    if not chip and not (owner and name and species is not False):
        return None
    parts = (("chip", chip), ("owner", owner), ("name", name), ("species", species))
    return Candidate(
        known.reference,
        tuple(what for what, same in parts if same),
        tuple(what for what, same in parts if same is False),
    )


def _owner(told: Told, known: Told) -> bool | None:
    """By number; where no numbers of one kind can be compared, by name together with a telephone number or address."""
    if told.owner_numbers & known.owner_numbers:
        return True
    if {system for system, _ in told.owner_numbers} & {system for system, _ in known.owner_numbers}:
        return False
    names, contacts = _compared(told.owner_names, known.owner_names), _compared(told.contacts, known.contacts)
    if names is None or contacts is None:
        return False if names is False else None
    return names and contacts


def _compared(one: frozenset[str], other: frozenset[str]) -> bool | None:
    return bool(one & other) if one and other else None


def _words(one: Candidate) -> str:
    known = f"{' and '.join(one.agrees)} agree" if len(one.agrees) > 1 else f"{one.agrees[0]} agrees"
    missing = [what for what in ("chip", "owner") if what not in (*one.agrees, *one.differs)]
    parts = [f"{' and '.join(one.differs)} not"] if one.differs else []
    parts += [f"{' and '.join(missing)} cannot be compared"] if missing else []
    return f"{known}, but {'; '.join(parts)}" if parts else known
