"""Who is named in a resource, for people to read."""

from typing import Any

Json = dict[str, Any]


def name_of(resource: Json) -> str:
    """The name of an Organization, a person or an animal as text; "" when it bears none."""
    given = resource.get("name", "")
    if isinstance(given, str):
        return given
    for name in given:
        text = name.get("text") or " ".join(
            [*name.get("prefix", []), *name.get("given", []), *_one(name.get("family"))]
        )
        if text:
            return str(text)
    return ""


def _one(text: Any) -> list[str]:
    return [str(text)] if text else []
