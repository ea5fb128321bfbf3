"""Profiles, tags and security labels of a resource with some more, or with some fewer."""

from collections.abc import Callable
from typing import Any

Json = dict[str, Any]


def added(resource: Json, given: Json) -> Json:
    """The resource with the profiles, tags and labels of the meta that is given, each once."""
    return _changed(resource, given, lambda have, more, same: have + [m for m in more if not any(map(same(m), have))])


def removed(resource: Json, given: Json) -> Json:
    """The resource without them; one that is not there makes no difference."""
    return _changed(resource, given, lambda have, less, same: [h for h in have if not any(map(same(h), less))])


def _changed(resource: Json, given: Json, change: Callable[..., list[Any]]) -> Json:
    meta = dict(resource.get("meta", {}))
    for name in ("profile", "security", "tag"):
        kept = change(list(meta.get(name, [])), given.get(name, []), _same)
        meta.pop(name, None)
        if kept:
            meta[name] = kept
    return {**resource, "meta": meta}


def _same(one: Any) -> Callable[[Any], bool]:
    """A label is told by its system and code."""
    return lambda other: _told_by(other) == _told_by(one)


def _told_by(label: Any) -> object:
    return (label.get("system"), label.get("code")) if isinstance(label, dict) else label
