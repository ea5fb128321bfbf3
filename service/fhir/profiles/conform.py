"""A valid resource and one of our profiles -> what the profile forbids in it."""

from collections.abc import Iterator
from typing import Any

from service.basics.errors import Fault
from service.fhir.profiles.rows import Profile, Rule

Spot = tuple[Any, str]  # a value and its FHIRPath
_PLAIN = {"valueQuantity": "value"}  # FHIRPath names a choice without its type


def broken(resource: dict[str, Any], profile: Profile) -> Iterator[Fault]:
    """Every rule of the profile that the resource breaks; where an element is missing, nothing is said of what it
    would hold."""
    urls = {one.path: one.url for one in profile.rules if one.url}
    for rule in profile.rules:
        holder, _, last = rule.path.rpartition(".")
        for value, place in _spots((resource, profile.type), holder, urls):
            yield from _broken(rule, list(_step((value, place), last, rule.url)), _named(place, last, rule.url))


def _broken(rule: Rule, found: list[Spot], place: str) -> Iterator[Fault]:
    if len(found) < rule.least:
        yield Fault("required", rule.words, place)
    elif rule.most.isdecimal() and len(found) > int(rule.most):
        few = f"at most {rule.most} of it may be there" if int(rule.most) else "it may not be there"
        yield Fault("structure" if int(rule.most) else "business-rule", f"{rule.words}: {few}", place)
    elif found and rule.pattern is not None and not any(holds(value, rule.pattern[1]) for value, _ in found):
        yield Fault("code-invalid", f"{rule.words}: {shown(rule.pattern[1])} is needed", place)
    if rule.targets:
        yield from (fault for spot in found for fault in _target(rule, spot))


def _target(rule: Rule, spot: Spot) -> Iterator[Fault]:
    value, place = spot
    type_, slash, _ = str(value.get("reference", "") if isinstance(value, dict) else "").partition("/")
    if slash and type_[:1].isupper() and type_ not in rule.targets:
        yield Fault("invalid", f"{rule.words}: a reference to {' or '.join(rule.targets)} is needed", place)


def _spots(start: Spot, path: str, urls: dict[str, str]) -> list[Spot]:
    spots, walked = [start], ""
    for name in path.split(".") if path else ():
        walked = f"{walked}.{name}" if walked else name
        spots = [after for spot in spots for after in _step(spot, name, urls.get(walked, ""))]
    return spots


def _step(spot: Spot, name: str, url: str) -> Iterator[Spot]:
    """What lies one element below, with its place; only extensions of the url when there is one."""
    value, place = spot
    if not isinstance(value, dict):
        return
    if url:
        given = value.get("extension", ())
        yield from ((one, _named(place, name, url)) for one in given if one.get("url") == url)
        return
    for key in _keys(value, name):
        items = value[key]
        at = _named(place, name, url)
        yield from ((one, f"{at}[{n}]") for n, one in enumerate(items)) if isinstance(items, list) else [(items, at)]


def _keys(value: dict[str, Any], name: str) -> list[str]:
    if name.endswith("[x]"):
        base = name[:-3]
        return [key for key in value if key.startswith(base) and key[len(base) : len(base) + 1].isupper()]
    return [name] if name in value else [f"_{name}"] if f"_{name}" in value else []


def _named(place: str, name: str, url: str) -> str:
    if url:
        return f"{place}.extension.where(url='{url}')"
    return f"{place}.{_PLAIN.get(name, name.removesuffix('[x]'))}"


def holds(value: Any, pattern: Any) -> bool:
    """Whether a pattern is found in a value: objects by their elements, lists by one that fits, others as equals."""
    if isinstance(pattern, dict):
        return isinstance(value, dict) and all(holds(value.get(name), part) for name, part in pattern.items())
    if isinstance(pattern, list):
        return isinstance(value, list) and all(any(holds(one, part) for one in value) for part in pattern)
    return bool(value == pattern)


def shown(pattern: Any) -> str:
    """A pattern in words: system|code."""
    if isinstance(pattern, dict) and "coding" in pattern:
        return shown(pattern["coding"][0])
    if isinstance(pattern, dict):
        code = pattern.get("code", pattern.get("value", ""))
        return f"{pattern.get('system', '')}|{code}" if code else f"something of {pattern.get('system', '')}"
    return str(pattern)
