"""A whole resource -> the part of it that _summary or _elements asks for, marked SUBSETTED."""

from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from service.fhir import exact, uris

FILE = "outlines.json"

Json = dict[str, Any]
_ALWAYS = frozenset({"resourceType", "id", "meta", "implicitRules", "modifierExtension"})
_SUBSETTED = {"system": uris.OBSERVATION_VALUE, "code": "SUBSETTED"}


@cache
def _outlines() -> dict[str, Json]:
    found: dict[str, Json] = exact.decode(files("service.fhir").joinpath(FILE).read_bytes())
    return found


def elements(type_: str) -> Mapping[str, list[str]]:
    """The elements of a type that can be asked for, with the names they have in JSON: value as well as valueString."""
    names: dict[str, list[str]] = _outlines()[type_]["names"]
    return {spelt: [spelt] for several in names.values() for spelt in several} | names


def part(body: bytes, *, summary: str = "", wanted: tuple[str, ...] = ()) -> bytes:
    """The text of the part; elements without which it were not valid stay. summary: true, text, data or ""."""
    if not wanted and summary not in ("true", "text", "data"):
        return body
    resource: Json = exact.decode(body)
    outline = _outlines()[resource["resourceType"]]
    if wanted:
        names = _spelt(outline, (*wanted, *outline["kept"]))
    elif summary == "data":
        names = {name.removeprefix("_") for name in resource if name != "text"}
    else:
        names = _spelt(outline, (*outline["kept"], *(("text",) if summary == "text" else outline["summary"])))
    kept = {name: value for name, value in resource.items() if name.removeprefix("_") in names | _ALWAYS}
    if summary == "true" and not wanted:
        kept = {name: _inside(outline, name, value) for name, value in kept.items()}
    return exact.encode(_marked(kept))


def _spelt(outline: Json, elements_: tuple[str, ...]) -> set[str]:
    return {name for element in elements_ for name in outline["names"].get(element, (element,))}


def _inside(outline: Json, name: str, value: Any) -> Any:
    """A backbone element with only what a summary has of it."""
    inner = outline["below"].get(name)
    if inner is None:
        return value
    if isinstance(value, list):
        return [_inside(outline, name, one) for one in value]
    return {key: part_ for key, part_ in value.items() if key.removeprefix("_") in inner} or value


def _marked(resource: Json) -> Json:
    meta = resource.get("meta", {})
    tags = [tag for tag in meta.get("tag", ()) if tag != _SUBSETTED]
    return resource | {"meta": meta | {"tag": [*tags, _SUBSETTED]}}
