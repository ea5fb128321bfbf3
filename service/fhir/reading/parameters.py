"""A Parameters resource into plain values by name."""

from typing import Any

Json = dict[str, Any]


def parts(parameters: Json) -> list[tuple[str, Any]]:
    """(name, value) of each parameter in order; the value of a resource parameter is the resource."""
    found = []
    for one in parameters.get("parameter", []):
        value = one.get("resource")
        for key, given in one.items():
            if key.startswith("value"):
                value = given
        found.append((str(one.get("name", "")), value))
    return found


def named(parameters: Json, name: str) -> list[Any]:
    """All values given under one name."""
    return [value for key, value in parts(parameters) if key == name and value is not None]


def text(parameters: Json, name: str) -> str:
    """The first value under a name as text: a string, a Coding's code, a Reference's target or display."""
    return next(iter(texts(parameters, name)), "")


def texts(parameters: Json, name: str) -> list[str]:
    """All values under a name as text; "" for one that has none."""
    return [_said(value) for value in named(parameters, name)]


def _said(value: Any) -> str:
    if isinstance(value, dict):
        coding = (value.get("coding") or [{}])[0]
        return str(value.get("code") or coding.get("code") or value.get("reference") or value.get("display") or "")
    return str(value).strip()
