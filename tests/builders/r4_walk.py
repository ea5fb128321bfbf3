"""Every element of a resource with what HL7's definitions say of it: the base of copies with one fault."""

from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from service.fhir.definitions import Definitions, Element

Json = dict[str, Any]
Path = tuple[str | int, ...]


class Spot(NamedTuple):
    """An element: its JSON path, its definition and FHIR type, its FHIRPath; one of its values when it repeats.

    holder is the JSON path of the object it stands in, and the object's FHIRPath."""

    path: Path
    element: Element
    type: str
    place: str
    value: Any
    holder: tuple[Path, str]

    @property
    def name(self) -> str:
        """The JSON name of the element."""
        return str(next(step for step in reversed(self.path) if isinstance(step, str)))

    @property
    def key(self) -> str:
        """What the element is anywhere: its path in the definitions, and its type."""
        return f"{self.element['path']}:{self.type}"


class Walk:
    """Walks resources by the definitions."""

    def __init__(self, definitions: Definitions) -> None:
        self.definitions = definitions

    def resource(self, resource: Json, path: Path = (), place: str = "") -> Iterator[Spot]:
        """Every spot of a resource and of those that it holds."""
        kind = resource["resourceType"]
        yield from self._object(resource, kind, path, place or kind)

    def _object(self, value: Json, type_: str, path: Path, place: str) -> Iterator[Spot]:
        for name, item in value.items():
            found = self._element(type_, name)
            if found is None:
                continue
            element, kind = found
            at = f"{place}.{element['path'].rpartition('.')[2].removesuffix('[x]')}"
            many = isinstance(item, list)
            for n, one in enumerate(item if many else [item]):
                if one is None:
                    continue
                spot_path, spot_place = ((*path, name, n), f"{at}[{n}]") if many else ((*path, name), at)
                yield Spot(spot_path, element, kind, spot_place, one, (path, place))
                if isinstance(one, dict):
                    inner = self.resource if "resourceType" in one else None
                    yield from (
                        inner(one, spot_path, spot_place) if inner else self._object(one, kind, spot_path, spot_place)
                    )

    def _element(self, type_: str, name: str) -> tuple[Element, str] | None:
        for element in self.definitions.children.get(type_, self.definitions.children.get("Element", [])):
            base = element["path"].rpartition(".")[2]
            types = self.definitions.types_of(element)
            if base == name:
                return element, types[0]
            if base.endswith("[x]") and name.startswith(base[:-3]):
                for kind in types:
                    if name == base[:-3] + kind[0].upper() + kind[1:]:
                        return element, kind
        return None


def at(value: Any, path: Path, change: Callable[[Any], Any]) -> Any:
    """A copy in which what stands at the path is what `change` makes of it; the rest is shared."""
    if not path:
        return change(value)
    step, rest = path[0], path[1:]
    copied = list(value) if isinstance(value, list) else dict(value)
    copied[step] = at(copied[step], rest, change)
    return copied


def without(value: Any, path: Path) -> Any:
    """A copy without what stands at the path; a list goes as a whole."""
    *holder, last = path if isinstance(path[-1], str) else path[:-1]
    return at(value, tuple(holder), lambda old: {k: v for k, v in old.items() if k != last})


def beside(value: Any, path: Path, **more: Any) -> Any:
    """A copy whose object at the path has more elements."""
    return at(value, path, lambda old: old | more)
