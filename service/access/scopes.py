"""Scopes of a token (SMART App Launch 2, system level) into yes or no for one interaction on one type."""

import re
from collections.abc import Iterable
from functools import lru_cache

from service.basics.errors import Fault, Invalid

# Letters in this order only: ".read" must never be taken for a bag of letters (SMART App Launch 2, scope syntax).
_SCOPE = re.compile(r"system/(\*|[A-Z][A-Za-z]{1,63})\.(c?r?u?d?s?|read|write|\*)")
_VERSION_1 = {"read": "rs", "write": "cud", "*": "cruds"}


def faults(scopes: Iterable[str]) -> list[str]:
    """What is wrong with the scopes of a token to be made, one sentence each; empty when nothing is."""
    return [
        f"{scope}: write system/<Type or *>.<some of c r u d s, in this order>, such as system/Observation.crs"
        for scope in scopes
        if _letters(scope) is None
    ]


def checked(scopes: Iterable[str]) -> tuple[str, ...]:
    """The scopes, sorted, each once; raises Invalid naming all that can't be understood, or when none is given."""
    wanted = tuple(sorted(set(scopes)))
    wrong = faults(wanted) if wanted else ["A token needs at least one scope, such as system/*.cruds"]
    if wrong:
        raise Invalid(*(Fault("value", text) for text in wrong))
    return wanted


@lru_cache(maxsize=4096)
def allows(scopes: tuple[str, ...], type_: str, letter: str) -> bool:
    """Whether the scopes together grant `letter` (c create, r read, u update, d delete, s search) on the type.

    The type "*" asks for a grant on every type. A scope that can't be understood grants nothing."""
    return any(
        letter in granted for name, granted in (_letters(scope) or ("", "") for scope in scopes) if name in {"*", type_}
    )


def touches(scopes: tuple[str, ...], type_: str) -> bool:
    """Whether anything at all is granted on the type; enough to have a resource of it checked."""
    return any(allows(scopes, type_, letter) for letter in "cruds")


def _letters(scope: str) -> tuple[str, str] | None:
    match = _SCOPE.fullmatch(scope)
    if match is None or not match.group(2):
        return None
    return match.group(1), _VERSION_1.get(match.group(2), match.group(2))
