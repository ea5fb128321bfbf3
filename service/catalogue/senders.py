"""Turns rows about senders' codes into what they lead to here; our own codes are always understood."""

from collections.abc import Iterable, Mapping

from service.basics.coding import Coding
from service.catalogue.catalogue import Key
from service.catalogue.codings import Codes
from service.catalogue.measurements import MeasureKey
from service.catalogue.rows_codes import PropertyRow, SiteRow, WordRow
from service.catalogue.sheets import Placed, Sheets
from service.catalogue.vocabulary import Vocabularies
from service.exam.rules import MeasureRule, Structure

SiteKey = tuple[str, str, str]
NOTES = frozenset(
    {
        "sedation",
        "doppler",
        "fasting",
        "weight",
        "sex",
        "testes",
        "heat",
        "stability",
        "azotaemia",
        "ideal-weight",
        "recumbency",
        "probe",
        "clipping",
        "sample",
        "cystocentesis",
        "drainage",
        "image-export",
        "call-out",
    }
)
LESIONS = frozenset({"lesion:record", "lesion:place"})
SIDES = ("left", "right", "both")


def sites(
    sheets: Sheets, codes: Codes, *, structures: Mapping[str, Structure], sides: Mapping[Key, str]
) -> dict[SiteKey, str]:
    """(system, code, side) -> structure, "" when it is ambiguous or the side contradicts the code."""
    found: dict[SiteKey, str] = {}
    for structure in structures.values():
        found |= _own_sites(structure, sides)
    for placed in sheets.read("sites.csv", SiteRow):
        row = placed.row
        known = not row.structure or row.structure in sheets.known("structures.csv", "structure")
        if not known:
            sheets.fault(placed.line, f'structure "{row.structure}" is not in structures.csv')
        found.setdefault(
            (*codes.key(placed.line, row.system, row.code), row.laterality), row.structure if known else ""
        )
    for structure in structures.values():
        _leads_back(structure, sheets, found, sides=sides)
    return found


def _own_sites(structure: Structure, sides: Mapping[Key, str]) -> dict[SiteKey, str]:
    own = structure.site[-1]
    found = {(own.system, own.code, ""): structure.key}
    if structure.laterality:
        side = _side(structure.laterality, sides)
        found |= {(own.system, own.code, s): structure.key if s == side else "" for s in SIDES}
    return found


def _side(coding: Coding, sides: Mapping[Key, str]) -> str:
    return sides.get((coding.system, coding.code), "")


def _leads_back(
    structure: Structure, sheets: Sheets, found: Mapping[SiteKey, str], *, sides: Mapping[Key, str]
) -> None:
    side = _side(structure.laterality, sides) if structure.laterality else ""
    for coding in structure.site[:-1]:
        led = found.get((coding.system, coding.code, side))
        if led is None or led not in {"", structure.key}:
            text = f"{structure.key}: its code {coding.code} leads to {led or 'nothing'} in sites.csv"
            sheets.faults.append(f"structures.csv:0: {text}")


def properties(
    sheets: Sheets, codes: Codes, *, measures: Mapping[MeasureKey, MeasureRule], vocabularies: Vocabularies
) -> dict[Key, tuple[str, ...]]:
    """Code -> "measure:<key>", "attribute:<key>" or "note:<key>"; of several, the one that the structure has."""
    known = {f"measure:{k}" for k in sheets.known("measures.csv", "measure")}
    known |= {f"attribute:{k}" for k in sheets.known("attributes.csv", "attribute")}
    known |= {f"note:{k}" for k in NOTES} | LESIONS
    found: dict[Key, tuple[str, ...]] = {}
    for rule in measures.values():
        own = rule.codes[-1]
        found[own.system, own.code] = (f"measure:{rule.key}",)
    for attributes in vocabularies.values():
        found |= {(codes.systems.get("attribute", ""), a.key): (f"attribute:{a.key}",) for a in attributes}
    for placed in sheets.read("properties.csv", PropertyRow):
        row = placed.row
        for target in set(row.leads_to) - known or ({""} if not row.leads_to else ()):
            sheets.fault(placed.line, f'leads to "{target}", which is not known')
        _one_each(placed, sheets, measures)
        found[codes.key(placed.line, row.system, row.code)] = row.leads_to
    _understood(sheets, measures.values(), found)
    return found


def _one_each(placed: Placed[PropertyRow], sheets: Sheets, measures: Mapping[MeasureKey, MeasureRule]) -> None:
    wanted = [t.removeprefix("measure:") for t in placed.row.leads_to if t.startswith("measure:")]
    for species, structure in sorted({(s, t) for s, t, _ in measures}):
        both = [k for k in wanted if (species, structure, k) in measures]
        if len(both) > 1:
            sheets.fault(placed.line, f"of the {structure} of the {species} it could be {' or '.join(both)}")


def _understood(sheets: Sheets, rules: Iterable[MeasureRule], found: Mapping[Key, tuple[str, ...]]) -> None:
    wrong = {
        f"measures.csv:0: {rule.key}: its code {coding.code} does not lead to it in properties.csv"
        for rule in rules
        for coding in rule.codes
        if f"measure:{rule.key}" not in found.get((coding.system, coding.code), ())
    }
    sheets.faults.extend(sorted(wrong))


def words(sheets: Sheets, codes: Codes, *, vocabularies: Vocabularies) -> dict[Key, tuple[str, str, str]]:
    """Code -> (vocabulary, attribute, value): our own "<vocabulary>.<attribute>.<value>" and the rows of words.csv."""
    own = codes.systems.get("finding", "")
    known = {
        (name, attribute.key, value.code)
        for name, attributes in vocabularies.items()
        for attribute in attributes
        for value in attribute.values
    }
    found: dict[Key, tuple[str, str, str]] = {(own, ".".join(word)): word for word in known}
    for placed in sheets.read("words.csv", WordRow):
        row = placed.row
        word = (row.vocabulary, row.attribute, row.value)
        if word not in known:
            sheets.fault(placed.line, f"{'.'.join(word)} is not in findings.csv")
        found[codes.key(placed.line, row.system, row.code)] = word
    return found
