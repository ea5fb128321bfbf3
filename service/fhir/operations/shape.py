"""What an operation is: on which types and levels, what it takes and what it gives."""

from dataclasses import dataclass

from service.fhir import uris


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter: use is in or out, type an R4 type ("" for one that has parts); min and max as in R4."""

    name: str
    use: str
    type: str
    min: int = 0
    max: str = "1"
    text: str = ""
    parts: tuple["Parameter", ...] = ()


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation: on which types and levels (type, instance), whether it changes something.

    own: its definition's last word; base: HL7's definition of which this is the part that is offered here."""

    name: str
    own: str
    title: str
    description: str
    types: tuple[str, ...]
    levels: frozenset[str]
    parameters: tuple[Parameter, ...]
    changes: bool = False
    base: str = ""

    @property
    def url(self) -> str:
        """The definition's own URL."""
        return f"{uris.OPERATION_DEFINITION}{self.own}"


INSTANCE = frozenset({"instance"})
TYPE = frozenset({"type"})


def taken(
    name: str, type_: str, text: str = "", *, need: int = 0, many: bool = False, parts: tuple[Parameter, ...] = ()
) -> Parameter:
    """A parameter that is taken."""
    return Parameter(name, "in", type_, need, "*" if many else "1", text, parts)


def given(type_: str, text: str = "", *, name: str = "return", need: int = 1, many: bool = False) -> Parameter:
    """A parameter that is given back."""
    return Parameter(name, "out", type_, need, "*" if many else "1", text)
