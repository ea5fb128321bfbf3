"""What the compiled schema found wrong -> faults in words a person can act on."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from service.basics.errors import Fault
from service.fhir.validate.compiled import definitions
from service.fhir.validate.places import Step, fhirpath
from service.fhir.validate.primitives import WORDS

Moved = Callable[[list[Any]], list[Any]]

_SHOWN = 12


def explained(type_: str, errors: Iterable[tuple[Any, Moved]]) -> Iterator[Fault]:
    """One fault, or several, for each error of the schema, which comes with what makes its paths those of the whole."""
    for error, moved in errors:
        yield from _fault(type_, error, moved)


def _fault(type_: str, error: Any, moved: Moved) -> Iterator[Fault]:
    kind = error.kind.name
    path = moved(list(error.instance_path))[1:]
    schema_path = list(error.schema_path)
    inner = _inner(error, schema_path)
    if inner:
        yield from (fault for one in inner for fault in _fault(type_, one, moved))
    elif kind == "additionalProperties":
        for name in error.kind.unexpected:
            text = f"{_shown(name)} is not an element of {_holder(schema_path)} in R4"
            yield Fault("structure", text, fhirpath(type_, [*path, name]))
    elif kind == "required" and not _comment(schema_path):
        name = error.kind.property
        yield Fault("required", f"{name} is needed", fhirpath(type_, [*path, name]))
    else:
        yield _single(type_, error, path=path, schema_path=schema_path)


def _inner(error: Any, schema_path: list[Step]) -> list[Any]:
    """The errors of the first branch, where a list may also hold null."""
    if error.kind.name == "anyOf" and "items" in schema_path[-2:]:
        branches = error.kind.context
        wanted = [branch for branch in branches if not _says_null(branch)]
        return list(wanted[0]) if wanted else []
    return []


def _says_null(branch: list[Any]) -> bool:
    return len(branch) == 1 and branch[0].kind.name == "type" and "null" in str(branch[0].message)


def _single(type_: str, error: Any, *, path: list[Step], schema_path: list[Step]) -> Fault:
    comment = _comment(schema_path)
    if comment:
        return _ruled(type_, error, path=path, comment=comment)
    place = fhirpath(type_, path)
    kind = error.kind.name
    if kind == "enum":
        if not isinstance(error.instance, str):
            return Fault("structure", "text is needed here", place)
        return Fault("code-invalid", f"{_shown(error.instance)} is not one of {_list(error.kind.options)}", place)
    if kind == "contains":
        return Fault("code-invalid", "no coding is from the value set that R4 requires here", place)
    return Fault(
        "value" if kind in ("pattern", "minimum", "maximum") else "structure", _needed(kind, schema_path), place
    )


def _ruled(type_: str, error: Any, *, path: list[Step], comment: str) -> Fault:
    """A fault of a rule that the schema's comment names: "required x", "choice x[x]" or "key: words"."""
    word, _, name = comment.partition(" ")
    base = name.removesuffix("[x]")
    if word == "required" and error.kind.name in ("anyOf", "oneOfNotValid"):
        return Fault("required", f"{name} is needed", fhirpath(type_, [*path, base]))
    if word in ("required", "choice"):
        at = path[:-1] if error.kind.name == "falseSchema" else path
        return Fault("structure", f"only one of {name} may be there", fhirpath(type_, [*at, base]))
    if error.kind.name == "falseSchema":
        path = path[:-1]
    return Fault("invariant", comment, fhirpath(type_, path))


def _needed(kind: str, schema_path: list[Step]) -> str:
    name, schema = _definition(schema_path)
    if name in WORDS:
        return f"{WORDS[name]} is needed here"
    if "targets" in schema:
        return f"a reference here leads to {_list(schema['targets'])}"
    if kind == "pattern" and name == "Reference":
        return "a reference is #id, Type/id, an absolute URL or urn:uuid:..."
    return {
        "minProperties": "an element may not be empty",
        "minItems": "a list may not be empty; leave it out",
        "pattern": "the text is not of the form that R4 asks for here",
        "type": f"{_what(_node(schema_path[:-1]))} is needed here",
    }.get(kind, "R4 does not allow this here")


def _what(schema: Any) -> str:
    kind = schema.get("type") if isinstance(schema, dict) else None
    return {"array": "a list", "object": "an object", "string": "text"}.get(str(kind), "another kind of value")


def _definition(schema_path: list[Step]) -> tuple[str, dict[str, Any]]:
    name = str(schema_path[1]) if len(schema_path) > 1 and schema_path[0] == "$defs" else ""
    return name, definitions().get(name, {})


def _holder(schema_path: list[Step]) -> str:
    return _definition(schema_path)[0]


def _node(schema_path: list[Step]) -> Any:
    return _nodes(schema_path)[-1]


def _nodes(schema_path: list[Step]) -> list[Any]:
    """What lies on the way through the schema, its root first."""
    found: list[Any] = [{"$defs": definitions()}]
    for step in schema_path:
        node = found[-1]
        if isinstance(node, list) and isinstance(step, int):
            found.append(node[step])
        else:
            found.append(node.get(str(step)) if isinstance(node, Mapping) else None)
    return found


def _comment(schema_path: list[Step]) -> str:
    """The comment of the innermost rule that an error lies in."""
    comments = [node["$comment"] for node in _nodes(schema_path) if isinstance(node, dict) and "$comment" in node]
    return str(comments[-1]) if comments else ""


def _shown(value: Any) -> str:
    return f'"{str(value)[:64]}"'


def _list(values: Iterable[Any]) -> str:
    names = [str(value) for value in values]
    more = f" ... ({len(names)} in all)" if len(names) > _SHOWN else ""
    return ", ".join(names[:_SHOWN]) + more
