"""Scopes of a token (SMART App Launch, versions 1 and 2, system level) into yes, no, or yes within limits."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from urllib.parse import parse_qsl

from service.basics.errors import Fault, Invalid
from service.fhir.types import DEFINITIONS

# Letters in this order only: ".read" must never be taken for a bag of letters (SMART App Launch 2, scope syntax).
_SCOPE = re.compile(r"system/(\*|[A-Z][A-Za-z]{1,63})\.(c?r?u?d?s?|read|write|\*)(?:\?([!-~]{1,1000}))?")
_VERSION_1 = {"read": "rs", "write": "cud", "*": "cruds"}
_PLAIN = re.compile(r"[a-z][a-z-]*|_(?:id|profile|security|tag)")  # no modifier, no chain, no _has

_WHOLE = frozenset({"*", "AuditEvent"}) | DEFINITIONS  # what is never shown in part

Limit = tuple[tuple[str, str], ...]
"""Search parameters that must all hold of what a scope shows."""


@dataclass(frozen=True, slots=True)
class Scope:
    """One scope, understood: letters (c create, r read, u update, d delete, s search) on a type, or on "*"."""

    type: str
    letters: str
    limit: Limit = ()


def faults(scopes: Iterable[str]) -> list[str]:
    """What is wrong with the scopes of a token to be made, one sentence each; empty when nothing is."""
    return [f"{scope}: {wrong}" for scope in scopes if (wrong := _wrong(scope))]


def checked(scopes: Iterable[str]) -> tuple[str, ...]:
    """The scopes, sorted, each once; raises Invalid naming all that can't be understood, or when none is given."""
    wanted = tuple(sorted(set(scopes)))
    wrong = faults(wanted) if wanted else ["A token needs at least one scope, such as system/*.cruds"]
    if wrong:
        raise Invalid(*(Fault("value", text) for text in wrong))
    return wanted


@lru_cache(maxsize=4096)
def understood(scope: str) -> Scope | None:
    """The scope taken apart; None for one that can't be understood, which grants nothing."""
    match = _SCOPE.fullmatch(scope)
    if match is None or not match.group(2):
        return None
    limit = tuple(parse_qsl(match.group(3) or "", keep_blank_values=True))
    if match.group(3) and (match.group(2) in _VERSION_1 or not limit or any(not value for _, value in limit)):
        return None
    return Scope(match.group(1), _VERSION_1.get(match.group(2), match.group(2)), limit)


def _wrong(scope: str) -> str:
    """What is wrong with a scope that somebody writes; a limit is to be as plain as SMART has it."""
    found = understood(scope)
    if found is None:
        return "write system/<Type or *>.<some of c r u d s, in this order>, such as system/Observation.crs"
    if not found.limit:
        return ""
    if found.type in _WHOLE or set(found.letters) - set("rs"):
        return "search parameters narrow reading and searching (r, s) of one type; write changes as a scope of its own"
    odd = [name for name, _ in found.limit if not _PLAIN.fullmatch(name)]
    return f"{', '.join(odd)}: search parameters without modifier or chain are taken here" if odd else ""


@lru_cache(maxsize=4096)
def limits(scopes: tuple[str, ...], type_: str, letters: str) -> tuple[Limit, ...] | None:
    """None when the scopes grant one of the letters on the whole type; else what of it they grant, by any limit.

    An empty tuple is nothing at all. The type "*" asks for a grant on every type."""
    granting = [
        one
        for scope in scopes
        if (one := understood(scope)) and one.type in {"*", type_} and set(one.letters) & set(letters)
    ]
    if any(not one.limit for one in granting):
        return None
    return tuple(one.limit for one in granting)


@lru_cache(maxsize=4096)
def allows(scopes: tuple[str, ...], type_: str, letter: str) -> bool:
    """Whether the scopes together grant `letter` on the type, or on a part of it (see limits)."""
    return limits(scopes, type_, letter) != ()


def touches(scopes: tuple[str, ...], type_: str) -> bool:
    """Whether anything at all is granted on the type; enough to have a resource of it checked."""
    return any(allows(scopes, type_, letter) for letter in "cruds")


@lru_cache(maxsize=1024)
def narrowed(scopes: tuple[str, ...]) -> bool:
    """Whether any scope shows only a part of a type."""
    return any(one is not None and one.limit for one in map(understood, scopes))


def covers(granted: tuple[str, ...], wanted: str) -> bool:
    """Whether everything that `wanted` grants is granted already; what can't be understood is not."""
    asked = understood(wanted)
    if asked is None or _wrong(wanted):
        return False
    for letter in asked.letters:
        held = limits(granted, asked.type, letter)
        if held is not None and (not asked.limit or asked.limit not in held):
            return False
    return True
