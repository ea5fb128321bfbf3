"""The names of a choice (value[x]) -> the schema that lets only one of them be there."""

from typing import Any

Schema = dict[str, Any]

_FEW = 12


def exclusive(names: list[tuple[str, bool]], *, needed: bool, comment: str) -> Schema:
    """At most one of the (name, is primitive) choices, exactly one when needed; a primitive's twin counts as it."""
    if needed or len(names) > _FEW:
        return {"oneOf": _exactly_one(names, needed=needed), "$comment": comment}
    return {"dependentSchemas": _pairs(names), "$comment": comment}


def _exactly_one(names: list[tuple[str, bool]], *, needed: bool) -> list[Schema]:
    one = [_there(name, primitive) for name, primitive in names]
    return one if needed else [*one, {"not": {"anyOf": one}}]


def _there(name: str, primitive: bool) -> Schema:
    return {"anyOf": [{"required": [name]}, {"required": [f"_{name}"]}]} if primitive else {"required": [name]}


def _pairs(names: list[tuple[str, bool]]) -> Schema:
    """Each name forbids those after it: every pair once."""
    found: Schema = {}
    for at, (name, primitive) in enumerate(names):
        later = [n for other, p in names[at + 1 :] for n in ((other, f"_{other}") if p else (other,))]
        if later:
            rule = {"properties": dict.fromkeys(later, False)}
            found |= dict.fromkeys((name, f"_{name}") if primitive else (name,), rule)
    return found
