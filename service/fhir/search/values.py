"""The text of one search value -> its parts, with \\, \\| \\$ and \\\\ taken as the signs themselves."""

import re

_PARTS = {sign: re.compile(rf"(?:[^\\{sign}]|\\.|\\$)*", re.DOTALL) for sign in ("|", "$")}
_ALTERNATIVE = re.compile(r"(?:[^\\,]|\\.|\\$)+", re.DOTALL)
_ESCAPE = re.compile(r"\\([,|$\\])")


def alternatives(value: str) -> list[str]:
    """The values that a comma parts (OR), escapes still in them; empty ones are left out."""
    return _ALTERNATIVE.findall(value)


def _apart(value: str, sign: str) -> list[str]:
    found, at = [], 0
    while True:
        match = _PARTS[sign].match(value, at)
        end = match.end() if match else at
        found.append(value[at:end])
        if end >= len(value):
            return found
        at = end + 1


def bar(value: str) -> tuple[str | None, str]:
    """(system, code) of a token, None when no bar parts them."""
    first, *rest = _apart(value, "|")
    return (unescaped(first), unescaped("|".join(rest))) if rest else (None, unescaped(first))


def bars(value: str) -> list[str]:
    """The parts between bars."""
    return [unescaped(part) for part in _apart(value, "|")]


def dollar(value: str) -> list[str]:
    """The parts of a composite, escapes still in them but for the dollar sign's."""
    return [part.replace("\\$", "$") for part in _apart(value, "$")]


def unescaped(value: str) -> str:
    """The value with its escapes undone."""
    return _ESCAPE.sub(r"\1", value)
