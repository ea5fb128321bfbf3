"""Rows about codes: code systems, what they mean here, and what senders call things."""

from typing import ClassVar, Literal

from service.catalogue.cells import Name, NameOrNone, Number, Text, Words, YesNo
from service.catalogue.rows import Row

Side = Literal["", "left", "right", "both"]
Grade = Literal["A", "B", "C", "own"]  # where the code was checked: A an installable package ... C several public lists


class SystemRow(Row):
    """systems.csv"""

    key: ClassVar[tuple[str, ...]] = ("name",)
    name: Name
    uri: Text
    owner: Text
    notice: str


class SpeciesRow(Row):
    """species.csv"""

    key: ClassVar[tuple[str, ...]] = ("system", "code")
    species: Literal["dog", "cat"]
    system: Name
    code: Text
    display: Text
    grade: Grade
    source: Text


class LateralityRow(Row):
    """lateralities.csv; the preferred code of each side is the one that is sent."""

    key: ClassVar[tuple[str, ...]] = ("system", "code")
    laterality: Literal["left", "right", "both"]
    system: Name
    code: Text
    display: Text
    preferred: YesNo
    grade: Grade
    source: Text


class PlaneRow(Row):
    """planes.csv; the preferred code of each plane is the one that is sent."""

    key: ClassVar[tuple[str, ...]] = ("system", "code")
    plane: Literal["long", "short", "multi"]
    system: Name
    code: Text
    display: Text
    preferred: YesNo
    grade: Grade
    source: Text


class SiteRow(Row):
    """sites.csv: a sender's body site; an empty structure is ambiguous and left to a person."""

    key: ClassVar[tuple[str, ...]] = ("system", "code", "laterality")
    system: Name
    code: Text
    display: Text
    laterality: Side
    structure: NameOrNone
    grade: Grade
    source: Text


class OrganRow(Row):
    """organs.csv: an organ that an order can name; structures are organs or structures of structures.csv."""

    key: ClassVar[tuple[str, ...]] = ("system", "code", "laterality")
    system: Name
    code: Text
    display: Text
    laterality: Side
    structures: Words


class OperationRow(Row):
    """operations.csv: an operation on an animal's record and the structures that it took."""

    key: ClassVar[tuple[str, ...]] = ("system", "code", "laterality")
    system: Name
    code: Text
    display: Text
    laterality: Side
    operation: Name
    structures: Words
    grade: Grade
    source: Text


class PropertyRow(Row):
    """properties.csv: what a sender says was measured or stated; of several, the one that the structure has."""

    key: ClassVar[tuple[str, ...]] = ("system", "code")
    system: Name
    code: Text
    display: Text
    leads_to: Words
    grade: Grade
    source: Text


class WordRow(Row):
    """words.csv: a sender's coded value."""

    key: ClassVar[tuple[str, ...]] = ("system", "code")
    system: Name
    code: Text
    display: Text
    vocabulary: Name
    attribute: Name
    value: Name
    grade: Grade
    source: Text


class UnitRow(Row):
    """units.csv: a UCUM unit that may be sent for another, and the factor between them."""

    key: ClassVar[tuple[str, ...]] = ("unit", "sent_as")
    unit: Text
    sent_as: Text
    factor: Number
    source: Text


class IdentifierRow(Row):
    """identifiers.csv: a v2-0203 kind of identifier and whether it belongs to one resource only."""

    key: ClassVar[tuple[str, ...]] = ("resource", "type")
    resource: Text
    type: Text
    display: Text
    unique: YesNo
    note: str
