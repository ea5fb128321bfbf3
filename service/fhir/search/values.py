"""The text of one search value -> its parts, with \\, \\| \\$ and \\\\ taken as the signs themselves."""

import re

_ALTERNATIVE = re.compile(r"(?:[^\\,]|\\.|\\$)+", re.DOTALL)
_BAR = re.compile(r"((?:[^\\|]|\\.|\\$)*)\|(.*)", re.DOTALL)
_ESCAPE = re.compile(r"\\([,|$\\])")


def alternatives(value: str) -> list[str]:
    """The values that a comma parts (OR), escapes still in them; empty ones are left out."""
    return _ALTERNATIVE.findall(value)


def bar(value: str) -> tuple[str | None, str]:
    """(system, code) of a token, None when no bar parts them."""
    match = _BAR.fullmatch(value)
    return (unescaped(match.group(1)), unescaped(match.group(2))) if match else (None, unescaped(value))


def unescaped(value: str) -> str:
    """The value with its escapes undone."""
    return _ESCAPE.sub(r"\1", value)
