"""The generated table of search parameters -> rows by type and parameter, read once when first asked for."""

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from service.fhir import exact

FILE = "parameters.json"


@dataclass(frozen=True, slots=True)
class Row:
    """One search parameter of one type; paths are JSON names that end in the FHIR type found there."""

    code: str
    kind: str  # token, reference, date, string, uri
    url: str
    paths: tuple[tuple[str, ...], ...]
    targets: tuple[str, ...] = ()  # types a reference may lead to; () is any
    target: str = ""  # only references to this type count
    system: str = ""  # only contact points of this system count
    implied: str = ""  # the code system that a plain code stands for
    alias: str = ""  # the parameter under whose keys this one is found
    union: tuple[str, ...] = ()  # the parameters under whose keys together this one is found
    default: str = ""  # the value of a resource that has none


@cache
def rows() -> dict[str, dict[str, Row]]:
    """type -> parameter -> row, for every type that can be searched."""
    raw = exact.decode(files("service.fhir.search").joinpath(FILE).read_bytes())
    shared = raw.pop("Resource")
    return {type_: {code: _row(code, row) for code, row in {**shared, **own}.items()} for type_, own in raw.items()}


def _row(code: str, raw: dict[str, object]) -> Row:
    values = {name: tuple(value) if isinstance(value, list) else value for name, value in raw.items()}
    values["paths"] = tuple(tuple(path) for path in raw["paths"])  # type: ignore[attr-defined]
    return Row(code, **values)  # type: ignore[arg-type]
