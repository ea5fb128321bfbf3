"""The generated table of search parameters -> rows by type and parameter, read once when first asked for."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files

from service.fhir import exact
from service.fhir.search.own import COMPOSITES, OWN_DATE, Pair

FILE = "parameters.json"


@dataclass(frozen=True, slots=True)
class Row:
    """One search parameter of one type; paths are JSON names that end in the FHIR type found there."""

    code: str
    kind: str  # token, reference, date, string, uri, quantity, number, composite
    url: str
    paths: tuple[tuple[str, ...], ...] = ()
    targets: tuple[str, ...] = ()  # types a reference may lead to; () is any
    target: str = ""  # only references to this type count
    system: str = ""  # only contact points of this system count
    implied: str = ""  # the code system that a plain code stands for
    alias: str = ""  # the parameter under whose keys this one is found
    union: tuple[str, ...] = ()  # the parameters under whose keys together this one is found
    default: str = ""  # the value of a resource that has none
    pairs: tuple[Pair, ...] = ()  # of a composite: what must hold of one element together
    bit: int = 0  # its bit in Keys.present; those of its parameters for a union, none for a composite

    @property
    def exact_case(self) -> bool:
        """Whether upper and lower case differ: in identifiers they do; in codes, when in doubt, they don't."""
        return any(path[-1] in ("Identifier", "id") for path in self.paths)


@cache
def rows() -> dict[str, dict[str, Row]]:
    """type -> parameter -> row, for every type that can be searched."""
    raw = exact.decode(files("service.fhir.search").joinpath(FILE).read_bytes())
    shared = raw.pop("Resource")
    return {type_: _of_type(type_, {**shared, **own}) for type_, own in raw.items()}


def _of_type(type_: str, raw: dict[str, dict[str, object]]) -> dict[str, Row]:
    found = {code: _row(code, one) for code, one in raw.items()}
    found |= {code: Row(code, "composite", url, pairs=pairs) for code, url, pairs in COMPOSITES.get(type_, ())}
    own = [
        code for code, row in sorted(found.items()) if not row.union and not row.pairs and (row.target or not row.alias)
    ]
    bits = {code: 1 << n for n, code in enumerate(own)}
    return {code: replace(row, bit=_mask(row, bits)) for code, row in sorted(found.items())}


def _mask(row: Row, bits: dict[str, int]) -> int:
    if row.pairs:
        return 0
    if row.union:
        return sum(bits[part] for part in row.union)
    return bits[row.alias if row.alias and not row.target else row.code]


def _row(code: str, raw: dict[str, object]) -> Row:
    values = {name: tuple(value) if isinstance(value, list) else value for name, value in raw.items()}
    values["paths"] = tuple(tuple(path) for path in raw["paths"])  # type: ignore[attr-defined]
    return Row(code, **values)  # type: ignore[arg-type]


def shadows(type_: str, code: str) -> Iterator[Row]:
    """The parameters that are found under the keys of another one and lead to one type only."""
    return (row for row in rows()[type_].values() if row.alias == code and row.target)


def own_date(type_: str) -> Row | None:
    """The date parameter whose first moment every mark of the type bears, so that the newest come first."""
    code = OWN_DATE.get(type_)
    return rows()[type_][code] if code else None


@cache
def dated(type_: str) -> tuple[str, ...]:
    """The elements that a type's own date is read from."""
    row = own_date(type_)
    return tuple(path[0] for path in row.paths) if row else ()
