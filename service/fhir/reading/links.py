"""A resource into the references that stand in it."""

from collections.abc import Iterator
from typing import Any


def links(resource: dict[str, Any], *, base: str) -> Iterator[tuple[str, str]]:
    """(FHIRPath, reference) of every literal reference, those to our own base relative; those within it left out."""
    for path, reference in _walk(resource, str(resource.get("resourceType", ""))):
        if reference and not reference.startswith("#"):
            yield path, reference.removeprefix(f"{base.rstrip('/')}/")


def _walk(value: Any, path: str) -> Iterator[tuple[str, str]]:
    if isinstance(value, list):
        for i, one in enumerate(value):
            yield from _walk(one, f"{path}[{i}]")
    elif isinstance(value, dict):
        if isinstance(value.get("reference"), str):
            yield f"{path}.reference", value["reference"]
        for name, one in value.items():
            if isinstance(one, dict | list):
                yield from _walk(one, f"{path}.{name}")
